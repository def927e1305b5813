//! What a figure of the book is measured in, and where it can lie.

use serde::Serialize;

/// What a figure is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Temperatures at which plants, people and compost are looked at.
    Celsius,
    /// Vapour-pressure deficits.
    Kilopascal,
    /// Shares of a hundred.
    Percent,
    /// Sums of warmth.
    DegreeDays,
    /// Sums of another kind that some milestones are given in.
    HeatUnits,
    /// Days from one event to another.
    Days,
    /// Weeks.
    Weeks,
    /// Hours of one day.
    HoursOfDay,
    /// Hours altogether.
    Hours,
    /// Whole days in a row.
    DaysInARow,
    /// Minutes.
    Minutes,
    /// Whole times.
    Times,
    /// Water for one plant and day.
    Litres,
    /// Light of one day.
    Light,
    /// Heights and depths of a plant.
    Metres,
    /// Ground under a plant.
    SquareMetres,
    /// Shares of one.
    Share,
    /// Coefficients of FAO-56.
    Coefficient,
}

impl Kind {
    /// The unit as it stands behind a number; empty for coefficients and shares.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Celsius => "°C",
            Self::Kilopascal => "kPa",
            Self::Percent => "%",
            Self::DegreeDays => "°C d",
            Self::HeatUnits => "heat units",
            Self::Days | Self::DaysInARow => "days",
            Self::Weeks => "weeks",
            Self::HoursOfDay | Self::Hours => "h",
            Self::Minutes => "min",
            Self::Times => "times",
            Self::Litres => "L a day and plant",
            Self::Light => "mol/m² a day",
            Self::Metres => "m",
            Self::SquareMetres => "m²",
            Self::Share | Self::Coefficient => "",
        }
    }

    /// Lowest and highest that a figure of this kind can be.
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Celsius => (-60.0, 90.0),
            Self::Percent => (0.0, 100.0),
            Self::HoursOfDay => (0.0, 24.0),
            Self::DaysInARow | Self::Times => (1.0, 366.0),
            Self::Share => (0.0, 1.0),
            Self::Kilopascal | Self::Metres | Self::SquareMetres | Self::Coefficient => (0.0, 10.0),
            _ => (0.0, 10_000.0),
        }
    }

    /// Whether only whole numbers are meant.
    pub const fn is_whole(self) -> bool {
        matches!(self, Self::DaysInARow | Self::Times)
    }

    /// Whether a number can be a figure of this kind; NaN cannot.
    pub fn holds(self, value: f64) -> bool {
        let (low, high) = self.range();
        value >= low && value <= high && (!self.is_whole() || value == value.floor())
    }

    /// What may be written, in words: `-60 to 90 °C`.
    pub fn bounds(self) -> String {
        let (low, high) = self.range();
        let whole = if self.is_whole() { "a whole number from " } else { "" };
        format!("{whole}{low} to {high} {}", self.unit()).trim_end().to_owned()
    }
}
