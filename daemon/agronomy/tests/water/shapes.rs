//! Bounds, directions and balances over generated weather and stores.

use agronomy::sun::DayOfYear;
use agronomy::sun::fao56::{clear_sky_day, daylight, extraterrestrial_day, extraterrestrial_hour};
use agronomy::units::{
    AirPressure, Celsius, CropCoefficient, DailyRadiation, Days, DegreeDays, DrynessPull, Extinction,
    Fraction, GaugeHeight, HourlyRadiation, HoursOfDay, Kilopascal, LeafArea, Litres, LitresPerHour,
    MetresPerSecond, Millimetres, Minutes, PlantHeight, SecondsPerMetre, SoilDepth, SolarTime, SquareMetres,
    UtcHour, WattsPerSquareMetre,
};
use agronomy::vapour::saturation_pressure;
use agronomy::water::by_hand::{self, Means};
use agronomy::water::evaporation::{EvaporableLayer, Wetting, covered, soil_coefficient};
use agronomy::water::greenhouse::{Canopy, Fitted};
use agronomy::water::moisture::day_saturation;
use agronomy::water::{
    Coefficients, Container, Day, Hour, RootZone, StageLengths, Surface, stress_coefficient, wind,
};
use proptest::prelude::*;

use crate::{
    celsius, day_of_year, depth, fraction, kilopascal, latitude, metres, millimetres, per_day, per_hour,
    use_per_day,
};

/// Weather of the growing season: all that an hour or day may have outdoors in one region or another.
fn season() -> impl Strategy<Value = Day> {
    ((-60.0..60.0, 0.0..2500.0, 1_u16..=366), (0.0..28.0, 3.0..18.0, 0.15..0.95), (0.3..0.75, 1.5..6.0))
        .prop_map(|((lat, altitude, day), (low, spread, humidity), (clear, speed))| {
            let (place, day) = (latitude(lat), DayOfYear::try_new(day).unwrap());
            let (lowest, highest) = (celsius(low), celsius(low + spread));
            Day {
                latitude: place,
                altitude: metres(altitude),
                day,
                lowest,
                highest,
                vapour: kilopascal(humidity * day_saturation(lowest, highest).get()),
                solar: per_day(clear * extraterrestrial_day(place, day).get()),
                wind: crate::wind(speed),
                soil_heat: per_day(0.0),
            }
        })
}

fn total(day: &Day) -> f64 {
    day.reference().unwrap().total().get()
}

fn litres(value: f64) -> Litres {
    Litres::try_new(value).unwrap()
}

proptest! {
    #[test]
    fn more_sun_asks_for_more_water(day in season(), more in 0.1..2.0_f64) {
        // Up to the sun of a clear sky. Of each MJ more the grass keeps 0.77, while the clearer sky lets out
        // σT⁴ (0.34 − 0.14 √ea) 1.35 / Rso: no more than that where Rso is 17, in all weather made above.
        let sky = clear_sky_day(extraterrestrial_day(day.latitude, day.day), day.altitude);
        let most = sky.get().max(day.solar.get());
        let brighter = Day { solar: per_day(f64::min(day.solar.get() + more, most)), ..day };
        prop_assume!(brighter.solar > day.solar && sky.get() > 17.0);
        prop_assert!(total(&brighter) > total(&day));
    }

    #[test]
    fn in_a_breeze_moister_air_of_the_same_warmth_asks_for_less(day in season(), more in 0.02..0.5_f64) {
        // In still air it may be the other way: vapour also keeps the ground's own warmth in.
        let day = Day { wind: crate::wind(day.wind.get() + 1.0), ..day };
        let full = day_saturation(day.lowest, day.highest).get();
        let moister = Day { vapour: kilopascal(f64::min(day.vapour.get() + more, full)), ..day };
        prop_assert!(total(&moister) <= total(&day) + 1e-12);
    }

    #[test]
    fn parts_and_whole_agree_and_no_day_lifts_more_than_a_desert(day in season()) {
        let got = day.reference().unwrap();
        prop_assert!((got.radiation_part.get() + got.dryness_part.get() - got.total().get()).abs() < 1e-12);
        prop_assert!(got.dryness_part.get() >= 0.0);
        prop_assert!(got.total().get() < 25.0, "{got:?}");
    }

    #[test]
    fn any_weather_of_the_types_gives_a_finite_figure_or_a_reason(
        (lat, altitude, day) in (-90.0..=90.0, -500.0..=9000.0, 1_u16..=366),
        (low, high, vapour) in (-90.0..=100.0, -90.0..=100.0, -120.0..=120.0),
        (sun, speed, g, hour) in (-100.0..=100.0, 0.0..=100.0, -100.0..=100.0, 0.0..=24.0),
    ) {
        let day = Day {
            latitude: latitude(lat), altitude: metres(altitude), day: DayOfYear::try_new(day).unwrap(),
            lowest: celsius(low), highest: celsius(high), vapour: kilopascal(vapour), solar: per_day(sun),
            wind: crate::wind(speed), soil_heat: per_day(g),
        };
        if let Ok(got) = day.reference() {
            prop_assert!(got.total().get().is_finite());
        }
        let hour = Hour {
            latitude: day.latitude, altitude: day.altitude, day: day.day,
            middle: SolarTime::try_new(hour).unwrap(), air: day.lowest, vapour: day.vapour,
            solar: per_hour(sun / 10.0), wind: day.wind,
        };
        let clear = hour.clearness().unwrap_or(Fraction::NONE);
        for surface in [Surface::Fao56, Surface::AsceShort] {
            if let Ok(got) = hour.reference(clear, surface) {
                prop_assert!(got.total().get().is_finite());
            }
        }
    }

    #[test]
    fn the_hours_of_a_day_add_up_to_the_day(lat in -89.0..89.0, day in 1_u16..=366) {
        // Eq. 28 is eq. 21 cut into pieces; the correction of the hour moves no more than the seam at midnight.
        let (place, day) = (latitude(lat), DayOfYear::try_new(day).unwrap());
        let hour = |start: u32| {
            extraterrestrial_hour(place, day, SolarTime::try_new(f64::from(start) + 0.5).unwrap()).get()
        };
        let sum: f64 = (0..24).map(hour).sum();
        let whole = extraterrestrial_day(place, day).get();
        prop_assert!((sum - whole).abs() < 0.01 * whole + 0.2, "{sum} of {whole}");
        prop_assert!((0.0..=24.0).contains(&daylight(place, day).get()));
    }

    #[test]
    fn litres_rise_with_the_area_and_with_the_use(
        used in 0.1..12.0, area in 0.01..3.0, more in 0.01..1.0,
    ) {
        for means in [Means::Drip, Means::Can, Means::Sprinkler, Means::HoseOnDryPeat] {
            let given = |used, area| by_hand::litres(use_per_day(used), SquareMetres::try_new(area).unwrap(), means);
            prop_assert!(given(used, area + more) > given(used, area));
            prop_assert!(given(used + more, area) > given(used, area));
            prop_assert!(given(used, area).get() >= used * area);
        }
    }

    #[test]
    fn stress_falls_with_depletion_from_one_to_nought(
        total in 1.0..300.0, share in 0.0..=1.0, missing in 0.0..=1.0, more in 0.0..0.5,
    ) {
        let ks = |of: f64| stress_coefficient(millimetres(total), millimetres(of * total), fraction(share)).get();
        prop_assert!(ks(missing + more) <= ks(missing) + 1e-12);
        prop_assert_eq!(ks(1.0), 0.0);
        if share > 1e-9 {
            prop_assert_eq!(ks(share * (1.0 - 1e-9)), if share < 1.0 { 1.0 } else { ks(1.0 - 1e-9) });
        }
    }

    #[test]
    fn what_comes_into_a_bed_stays_drains_or_is_used(
        total in 5.0..300.0, missing in 0.0..=1.0, water in 0.0..80.0, used in 0.0..12.0,
    ) {
        let bed = RootZone::new(millimetres(total), millimetres(missing * total));
        let (wet, drained) = bed.watered(millimetres(water));
        let in_order = bed.depletion().get() - water + drained.get();
        prop_assert!((wet.depletion().get() - in_order).abs() < 1e-9);
        let after = wet.used(millimetres(used));
        prop_assert!(after.depletion() <= after.total());
        // Where the order is not known, no more drains, and the bed is no drier.
        let (summed, drained_at_end) = bed.over_day(millimetres(water), millimetres(used));
        prop_assert!(drained_at_end <= drained && summed.depletion().get() <= after.depletion().get() + 1e-9);
        prop_assert!(bed.days_until_due(fraction(0.4), use_per_day(used + 0.1)).unwrap().get() >= 0.0);
    }

    #[test]
    fn what_is_poured_into_a_pot_is_held_drunk_or_drains(
        volume in 0.1..100.0, available in 0.05..0.6, drunk in 0.0..5.0, poured in 0.0..20.0,
    ) {
        let pot = Container::full(litres(volume), fraction(available)).used(litres(drunk));
        let (after, drained) = pot.watered(litres(poured));
        prop_assert!((pot.held().get() + poured - drained.get() - after.held().get()).abs() < 1e-9);
        let refill = pot.refill();
        prop_assert!((refill.each.get() * f64::from(refill.pulses) - refill.total.get()).abs() < 1e-9);
        prop_assert_eq!(pot.watered(refill.total).0.held(), pot.capacity());
        prop_assert!(refill.each.get() <= 0.15 * volume + 1e-12);
    }

    #[test]
    fn the_top_layer_gives_what_it_has_and_never_more(
        total in 0.1..30.0, readily in 0.0..30.0, lost in 0.0..30.0, ke in 0.0..1.3,
        reference in 0.0..15.0, exposed in 0.0..=1.0, rain in 0.0..40.0,
    ) {
        let layer = EvaporableLayer::new(millimetres(total), millimetres(readily), millimetres(lost));
        let kr = layer.reduction().get();
        prop_assert!((0.0..=1.0).contains(&kr));
        let ke = CropCoefficient::try_new(ke).unwrap();
        let (dried, evaporated) = layer.dried(ke, millimetres(reference), fraction(exposed));
        prop_assert!(dried.depletion() <= dried.total() && dried.reduction().get() <= kr + 1e-12);
        prop_assert!(evaporated.get() <= ke.get() * reference + 1e-12);
        let lost = (dried.depletion().get() - layer.depletion().get()) * exposed;
        prop_assert!((evaporated.get() - lost).abs() < 1e-9);
        let (wet, deeper) = dried.wetted(millimetres(rain));
        let came = dried.depletion().get() - wet.depletion().get() + deeper.get();
        prop_assert!((came - rain).abs() < 1e-9);
    }

    #[test]
    fn soil_and_crop_together_stay_under_their_ceiling(
        basal in 0.15..1.3, cap in 1.05..1.4, kr in 0.0..=1.0, wet in 0.0..=1.0, tall in 0.0..3.0,
    ) {
        let (basal, cap) = (CropCoefficient::try_new(basal).unwrap(), CropCoefficient::try_new(cap).unwrap());
        let cover = covered(basal, cap, PlantHeight::try_new(tall).unwrap());
        prop_assert!((0.0..=0.99).contains(&cover.get()));
        for wetting in [Wetting::All, Wetting::Part(fraction(wet)), Wetting::Drip(fraction(wet))] {
            let exposed = wetting.exposed(cover);
            prop_assert!(exposed <= wetting.share() && exposed.get() <= 1.0 - cover.get() + 1e-12);
            let ke = soil_coefficient(fraction(kr), cap, basal, exposed).get();
            prop_assert!(ke >= 0.0 && (basal.get() > cap.get() || basal.get() + ke <= cap.get() + 1e-12));
        }
    }

    #[test]
    fn a_curve_stays_between_its_figures(
        [a, b, c] in prop::array::uniform3(0.1..1.3), lengths in prop::array::uniform4(0.0..90.0), at in 0.0..500.0,
    ) {
        let coefficient = |value: f64| CropCoefficient::try_new(value).unwrap();
        let curve = Coefficients { initial: coefficient(a), middle: coefficient(b), end: coefficient(c) };
        let [initial, development, middle, late] = lengths.map(|days: f64| DegreeDays::try_new(days).unwrap());
        let lengths = StageLengths { initial, development, middle, late };
        let got = curve.at(&lengths, DegreeDays::try_new(at).unwrap()).get();
        prop_assert!(got >= a.min(b).min(c) - 1e-12 && got <= a.max(b).max(c) + 1e-12);
    }

    #[test]
    fn a_house_gives_off_more_in_more_sun_more_leaf_and_drier_air(
        sun in 1.0..900.0, leaf in 0.1..6.0, deficit in 0.0..2.4, more in 0.01..0.1,
    ) {
        let at = |sun, leaf, deficit| {
            let leaf = LeafArea::try_new(leaf).unwrap();
            let sun = WattsPerSquareMetre::try_new(sun).unwrap();
            Fitted::UNFITTED.latent_heat(sun, leaf, kilopascal(deficit)).get()
        };
        let here = at(sun, leaf, deficit);
        prop_assert!(at(sun + more, leaf, deficit) > here);
        prop_assert!(at(sun, leaf + more, deficit) > here);
        prop_assert!(at(sun, leaf, deficit + more) > here);
    }

    #[test]
    fn any_canopy_and_any_fit_give_a_finite_figure(
        (air, deficit, pressure) in (-90.0..=100.0, -120.0..=120.0, 30.0..=110.0),
        (net, leaf, around, pores) in (-2000.0..=10000.0, 0.0..=15.0, 1.0..=100000.0, 1.0..=100000.0),
        (pull, extinction) in (0.0..=200.0, 0.0..=5.0),
    ) {
        let leaf = LeafArea::try_new(leaf).unwrap();
        let canopy = Canopy {
            air: celsius(air), deficit: kilopascal(deficit), pressure: AirPressure::try_new(pressure).unwrap(),
            net: WattsPerSquareMetre::try_new(net).unwrap(), leaf,
            around_leaf: SecondsPerMetre::try_new(around).unwrap(), pores: SecondsPerMetre::try_new(pores).unwrap(),
        };
        prop_assert!(canopy.latent_heat().get().is_finite());
        let pull = DrynessPull::try_new(pull).unwrap();
        let extinction = Extinction::try_new(extinction).unwrap();
        let fit =
            Fitted { extinction, by_day: pull, by_night: pull, to_the_driest: true, ..Fitted::UNFITTED };
        let sun = WattsPerSquareMetre::try_new(net).unwrap();
        prop_assert!(fit.latent_heat(sun, leaf, kilopascal(deficit)).get().is_finite());
    }

    #[test]
    fn wind_is_weaker_near_the_ground(speed in 0.1..30.0, low in 0.5..10.0, higher in 0.1..20.0) {
        let at = |z: f64| wind::at_two_metres(crate::wind(speed), GaugeHeight::try_new(z).unwrap());
        prop_assert!(at(low + higher) < at(low));
    }

    #[test]
    fn saturation_of_a_day_lies_above_that_of_its_mean(low in -20.0..40.0, spread in 0.1..25.0) {
        let (lowest, highest) = (celsius(low), celsius(low + spread));
        let mean = celsius(f64::midpoint(low, low + spread));
        prop_assert!(day_saturation(lowest, highest) > saturation_pressure(mean));
    }

    #[test]
    fn roots_that_reach_deeper_have_more(field in 0.2..0.45, wilting in 0.02..0.19, z in 0.05..1.5, more in 0.01..0.5) {
        let soil = agronomy::water::SoilWater::try_new(fraction(field), fraction(wilting)).unwrap();
        prop_assert!(soil.available(depth(z + more)) > soil.available(depth(z)));
        prop_assert!(soil.evaporable(depth(z)) > soil.available(depth(z)));
    }
}

#[test]
fn no_type_of_water_takes_nan_or_infinity() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert!(DailyRadiation::try_new(bad).is_err() && HourlyRadiation::try_new(bad).is_err());
        assert!(WattsPerSquareMetre::try_new(bad).is_err() && MetresPerSecond::try_new(bad).is_err());
        assert!(GaugeHeight::try_new(bad).is_err() && PlantHeight::try_new(bad).is_err());
        assert!(SoilDepth::try_new(bad).is_err() && Millimetres::try_new(bad).is_err());
        assert!(Litres::try_new(bad).is_err() && LitresPerHour::try_new(bad).is_err());
        assert!(Fraction::try_new(bad).is_err() && CropCoefficient::try_new(bad).is_err());
        assert!(Days::try_new(bad).is_err() && Minutes::try_new(bad).is_err());
        assert!(UtcHour::try_new(bad).is_err() && HoursOfDay::try_new(bad).is_err());
        assert!(Kilopascal::try_new(bad).is_err() && Celsius::try_new(bad).is_err());
    }
    assert!(DayOfYear::try_new(0).is_err() && DayOfYear::try_new(367).is_err());
    assert_eq!(day_of_year(366.0).get(), 366);
}
