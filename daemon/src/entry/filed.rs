//! Under what the ledger keeps a note: its kind, what it is about, and whether the program tells it.

use super::{BoardNews, Note};

impl Note {
    /// The ledger's word for the kind of entry.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Place { .. }
            | Self::Planting { .. }
            | Self::End { .. }
            | Self::Hang { .. }
            | Self::BatteryLine { .. }
            | Self::Marks { .. }
            | Self::OwnFigure { .. } => "ground",
            Self::Undo { .. } => "undo",
            Self::Reply { .. } | Self::Seen { .. } => "reply",
            Self::Digest { .. } => "digest",
            Self::PublicWarning(_) => "warning",
            Self::Phone { .. } | Self::PhoneGone { .. } => "phone",
            Self::HeatWarning { .. } | Self::Outlook(_) => "outlook",
            Self::Step(_) => "step",
            Self::Letter { .. } => "letter",
            Self::Edition { .. } => "edition",
            Self::Fence(_) | Self::Mended { .. } => "fence",
            Self::Restored { .. } | Self::Forgotten { .. } => "ledger",
            Self::Clock { .. } => "clock",
            Self::Board(_) => "board",
            Self::SentUnrecorded { .. } => "sent-unrecorded",
            _ => "diary",
        }
    }

    /// What the note is about: a place, planting, probe, notice or entry.
    pub fn subject(&self) -> String {
        match self {
            Self::Place { place, .. }
            | Self::Vents { place, .. }
            | Self::Shade { place, .. }
            | Self::Turned { place }
            | Self::Thermometer { place, .. } => place.clone(),
            Self::Planting { planting, .. }
            | Self::End { planting }
            | Self::OwnFigure { planting, .. }
            | Self::FirstFlower { planting }
            | Self::FirstRipe { planting }
            | Self::Damage { planting, .. } => planting.clone(),
            Self::Hang { probe, .. } | Self::BatteryLine { probe, .. } | Self::Marks { probe, .. } => {
                probe.clone()
            }
            Self::Watered { subject, .. } => subject.clone(),
            Self::Phone { phone, .. } | Self::PhoneGone { phone, .. } => phone.clone(),
            Self::Undo { entry } => entry.to_string(),
            Self::Reply { notice, .. } | Self::Seen { notice } | Self::SentUnrecorded { notice, .. } => {
                notice.clone()
            }
            Self::Step(step) => step.notice.clone(),
            Self::Letter { date } | Self::Digest { date, .. } => date.clone(),
            Self::Edition { edition, .. } => edition.clone(),
            Self::Clock { boot, .. } => boot.to_string(),
            Self::Board(BoardNews::Source { source, .. }) => source.clone(),
            Self::Board(BoardNews::Chip { probe, .. }) => probe.clone(),
            Self::Fence(fenced) | Self::Mended { fenced, .. } => fenced.probe.clone().unwrap_or_default(),
            Self::PublicWarning(warning) => warning.name.identifier.clone(),
            Self::HeatWarning { .. }
            | Self::Drill {}
            | Self::Outlook(_)
            | Self::Remark { .. }
            | Self::Board(_)
            | Self::Restored { .. }
            | Self::Forgotten { .. } => String::new(),
        }
    }

    /// Whether the program tells it and nobody notes it.
    pub fn is_told(&self) -> bool {
        matches!(
            self,
            Self::Step(_)
                | Self::PublicWarning(_)
                | Self::Outlook(_)
                | Self::Letter { .. }
                | Self::Digest { .. }
                | Self::Edition { .. }
                | Self::Clock { .. }
                | Self::Board(_)
                | Self::SentUnrecorded { .. }
                | Self::Fence(_)
                | Self::Mended { .. }
                | Self::Restored { .. }
                | Self::Forgotten { .. }
        )
    }
}
