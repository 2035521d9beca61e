//! Cold walls and fog.

use std::time::Duration;

use mistwright::{
    model::{
        HumidifierMethod, Identifier, Room, RoomModel, Surface, SurfaceKind,
        room::{Report, Standing},
    },
    physics::{Curve, MoistAir, surface},
    units::{Area, Fraction, HeatLoss, HeatTransferCoefficient, Transmittance},
};

use super::{PRESSURES, air, assert_near, bare, drive, flow, humidifier, percent, ppm, pressure};

fn wall(area: f64, transmittance: f64, convective: f64) -> SurfaceKind {
    SurfaceKind::Wall {
        area: Area::from_square_metres(area).unwrap(),
        transmittance: Transmittance::from_watts_per_square_metre_kelvin(transmittance).unwrap(),
        convective: HeatTransferCoefficient::from_watts_per_square_metre_kelvin(convective).unwrap(),
    }
}

fn with(kinds: &[SurfaceKind]) -> Room {
    let mut room = bare(60.0);
    let named = kinds.iter().enumerate().map(|(index, kind)| Surface {
        name: Identifier::new(&format!("wall-{index}")).unwrap(),
        title: format!("Wall {index}"),
        kind: *kind,
    });
    room.shell.surfaces = named.collect();
    room
}

/// One second in a room at 16 °C and this humidity, with this air around it.
fn moment(room: &Room, humidity: f64, around: f64, pascals: f64) -> Report {
    let model = RoomModel::new(room, pressure(pascals));
    let inside = air(16.0, humidity, pascals);
    let mut drive = drive(air(around, 70.0, pascals));
    drive.humidifier_allowed = false;
    model.step(&Standing::new(&inside, ppm(430.0), None), &drive, Duration::from_secs(1)).1
}

/// A wall of U = 3.7 W/m²K (twin-wall polycarbonate) with still air on it: (h_c + h_r) = 8.1 inside, h_o = 1/(1/U − 0.13) beyond,
/// so that its dry surface stands at T_o + (T − T_o)·8.1/(8.1 + h_o). It gets wet exactly where the dew point (below 0 °C,
/// the frost point) passes that; the humidity is that of the independent function for surfaces.
#[test]
fn a_wall_gets_wet_at_the_humidity_at_which_the_dew_point_meets_its_surface() {
    for pascals in PRESSURES {
        for around in [5.0, -10.0, -30.0] {
            let beyond = 1.0 / (1.0 / 3.7 - 0.13);
            let dry = around + (16.0 - around) * 8.1 / (8.1 + beyond);
            let room = with(&[wall(20.0, 3.7, 3.0)]);
            let onset = surface::highest_dry_humidity(super::celsius(dry), super::celsius(16.0), pressure(pascals));
            let onset = onset.unwrap().percent();
            let (below, above) =
                (moment(&room, onset - 0.05, around, pascals), moment(&room, onset + 0.05, around, pascals));
            assert!(below.condensed.kilograms() <= 0.0, "{around} °C: {below:?}");
            assert!(above.condensed.kilograms() > 0.0, "{around} °C: {above:?}");
            assert!(below.dew.unwrap().margin.kelvins() > 0.0 && above.dew.unwrap().margin.kelvins() < 0.0);
            assert!((below.dew.unwrap().temperature.celsius() - dry).abs() < 1e-6);
        }
    }
}

/// A wet wall keeps its own heat balance, (h_c + h_r)(T − T_s) + λβ(W − W_sat(T_s)) = h_o (T_s − T_o), checked on what the report says
/// of it with β = h_c/(0.9·c_p): still air and a ventilated wall, water and ice.
#[test]
fn a_wet_wall_stands_where_its_heat_balance_closes() {
    for (convective, around, curve, latent) in
        [(3.0, 5.0, Curve::Water, 2_470.0), (8.0, 5.0, Curve::Water, 2_470.0), (3.0, -25.0, Curve::Ice, 2_836.0)]
    {
        let room = with(&[wall(10.0, 5.0, convective)]);
        let report = moment(&room, 90.0, around, 101_325.0);
        let surface = report.dew.unwrap().temperature;
        let inside = air(16.0, 90.0, 101_325.0).humidity_ratio().kilograms_per_kilogram();
        let vapour = curve.pressure_in_air(surface, pressure(101_325.0)).unwrap().pascals();
        let at_surface = 0.621_945 * vapour / (101_325.0 - vapour);
        // kg/m²s
        let flux = convective / (0.9 * 1_006.0) * (inside - at_surface);
        assert_near(report.condensed.kilograms(), flux * 10.0, 5e-3, "condensed in a second");
        let inwards = (convective + 5.1) * (16.0 - surface.celsius()) + latent * 1e3 * flux;
        let outwards = (surface.celsius() - around) / (1.0 / 5.0 - 0.13);
        assert_near(inwards, outwards, 5e-3, "W/m² into and out of the surface");
    }
}

/// The latent heat goes to the surface, and all but the part that passes outwards comes back to the room: a wet wall costs
/// the heater less than the dry one, by factor·λ·flow.
#[test]
fn condensing_vapour_gives_its_heat_to_the_wall_and_the_wall_gives_most_of_it_back() {
    let heat = |kinds: &[SurfaceKind]| {
        let mut room = with(kinds);
        room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(100.0).unwrap());
        room.humidifier = Some(humidifier(HumidifierMethod::Steam, 50.0));
        room.heater = Some(mistwright::model::equipment::Thermostat {
            power: mistwright::units::HeatFlow::from_watts(20_000.0).unwrap(),
            setting: Some(super::celsius(16.0)),
            latent: Fraction::from_ratio(0.0).unwrap(),
        });
        let model = RoomModel::new(&room, pressure(101_325.0));
        let mut drive = drive(air(-10.0, 70.0, 101_325.0));
        drive.humidity_target = percent(90.0);
        let standing = Standing::new(&air(16.0, 90.0, 101_325.0), ppm(430.0), None);
        let report = model.step(&standing, &drive, Duration::from_secs(3_600)).1;
        let steam = 1.86 * 84.0 * report.vapour.kilograms_per_hour() / 3.6;
        (report.heater.unwrap().watts() + steam, report.condensed.kilograms())
    };
    let (dry, none) = heat(&[]);
    let (wet, condensed) = heat(&[wall(5.0, 3.0, 3.0)]);
    assert!(none <= 0.0 && condensed > 0.0);
    let factor = 8.1 / (8.1 + 1.0 / (1.0 / 3.0 - 0.13));
    assert_near(dry - wet, factor * 2_478.0 / 3.6 * condensed, 0.01, "W given back");
}

#[test]
fn frost_grows_below_freezing_and_drains_when_the_wall_is_warm_again() {
    let room = with(&[wall(20.0, 5.0, 3.0)]);
    let model = RoomModel::new(&room, pressure(101_325.0));
    let inside = air(12.0, 90.0, 101_325.0);
    let (frosted, report) = model.step(
        &Standing::new(&inside, ppm(430.0), None),
        &drive(air(-25.0, 70.0, 101_325.0)),
        Duration::from_secs(3_600),
    );
    assert_near(frosted.frost.kilograms(), report.condensed.kilograms(), 1e-12, "frost");
    assert!(frosted.frost.kilograms() > 0.0 && frosted.drained.litres() <= 0.0);
    let (thawed, _) = model.step(&frosted, &drive(air(10.0, 70.0, 101_325.0)), Duration::from_secs(60));
    assert!(thawed.frost.kilograms() <= 0.0);
    assert!(thawed.drained.litres() >= frosted.frost.kilograms());
}

#[test]
fn the_margin_is_told_of_the_coldest_surface_even_where_no_flux_is_reckoned() {
    let factor = SurfaceKind::Factor(Fraction::from_ratio(0.9).unwrap());
    let mut room = with(&[wall(20.0, 0.3, 3.0), factor, SurfaceKind::Probe]);
    let report = moment(&room, 90.0, -10.0, 101_325.0);
    let dew = report.dew.unwrap();
    assert_eq!(dew.surface, 1);
    assert_near(dew.temperature.celsius(), 13.4, 1e-9, "−10 + 0.9·26");
    let inside = air(16.0, 90.0, 101_325.0);
    let expected = surface::dew_margin(super::celsius(13.4), inside).unwrap().kelvins();
    assert!((dew.margin.kelvins() - expected).abs() < 2e-3, "{dew:?}, {expected}");
    assert!(report.condensed.kilograms() <= 0.0, "a factor takes no water: {report:?}");

    room.infiltration = mistwright::units::AirChanges::from_per_hour(0.1).unwrap();
    let probed = RoomModel::new(&room, pressure(101_325.0)).with_probe(2, Fraction::from_ratio(0.8).unwrap());
    let standing = Standing::new(&inside, ppm(430.0), None);
    let report = probed.step(&standing, &drive(air(-10.0, 70.0, 101_325.0)), Duration::from_secs(1)).1;
    assert_eq!(report.dew.unwrap().surface, 2);
    assert_eq!(moment(&bare(60.0), 90.0, -10.0, 101_325.0).dew, None, "no surface, no margin");
}

/// Warm moist air into a cold closed shell: the excess becomes fog and warms the air, and the room stays saturated.
#[test]
fn air_that_holds_too_much_fogs_and_stays_saturated() {
    let mut room = bare(60.0);
    room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(150.0).unwrap());
    let model = RoomModel::new(&room, pressure(101_325.0));
    let warm = air(22.0, 95.0, 101_325.0);
    let mut drive = drive(warm);
    drive.around.air = air(2.0, 90.0, 101_325.0);
    drive.fresh_air = flow(120.0);
    drive.humidifier_allowed = false;
    let mut fog = 0.0;
    let start = Standing::new(&air(12.0, 90.0, 101_325.0), ppm(430.0), None);
    let end = super::run(&model, start, &drive, (48, 300), |_, report| fog += report.fog.kilograms());
    assert!(fog > 0.5, "{fog} kg in four hours");
    let saturated = MoistAir::saturated(end.temperature, pressure(101_325.0)).unwrap().humidity_ratio();
    let (held, most) = (end.humidity_ratio.kilograms_per_kilogram(), saturated.kilograms_per_kilogram());
    assert_near(held, most, 1e-5, "humidity ratio of fogged air");
    assert!(end.drained.litres() >= fog * 0.999);
}
