//! When two sessions are compared like with like.

limits! {
    /// Two sessions before and after, compared like with like.
    compare: Compare;

    /// Speeds into a corner this far apart are not alike, a share of their mean.
    entry_speed_share: f64 = 0.10, "share", from 0.001 to 1.0,
        source: "common practice, no source";

    /// Oil temperatures this far apart are not alike.
    oil_k: f64 = 10.0, "K", from 0.1 to 200.0,
        source: "common practice, no source";

    /// The most that what the oil gives its heat to may be of the way from the air to the oil at the start, a share.
    start_share: f64 = 0.5, "share", from 0.0 to 1.0,
        reason: "the housing begins a drive as warm as the oil, and stands nearer to the air than to the start after a lap or two",
        sensitivity: "more widens the band of the rise of the oil where starts or air differ";

    /// Supply voltages this far apart are not alike.
    supply_v: f64 = 0.5, "V", from 0.01 to 50.0,
        source: "common practice, no source";

    /// Oil or voltage measured this long before or after a corner or the end of a lap is not
    /// known there.
    near_s: f64 = 60.0, "s", from 1.0 to 3600.0,
        source: "none, engineering guess: both change over minutes";

    /// Laps whose lengths differ by more are not of one circuit.
    lap_length_share: f64 = 0.05, "share", from 0.001 to 0.5,
        source: "none, engineering guess: tyres and lines differ by less";

    /// Share of the corners that must be found in both for one circuit.
    same_corners_share: f64 = 0.7, "share", from 0.1 to 1.0;

    /// Corners this far apart, and a share of the lap on top, are not the same one.
    same_place_m: f64 = 25.0, "m", from 1.0 to 1000.0,
        source: "none, engineering guess: as within a session, and half as much again for another day's line";

    /// Share of the lap that may come on top.
    same_place_share: f64 = 0.015, "share", from 0.0 to 0.2,
        source: "none, engineering guess: as above";

    /// Corners that turn by more or less than this, or than a share of their turn where that is
    /// greater, are not the same one.
    same_turn_deg: f64 = 15.0, "deg", from 1.0 to 180.0;

    /// Share of the turn that is allowed.
    same_turn_share: f64 = 0.25, "share", from 0.01 to 1.0;

    /// Laps, stretches or groups of events each side needs.
    least_blocks: u32 = 3, "count", from 2.0 to 1000.0,
        source: "none, engineering guess: two give a scatter that is hardly known";

    /// The same for times of the actuator, compared at like oil, steps and ramps of the command.
    same_time_share: f64 = 0.02, "share", from 0.0 to 1.0,
        source: "simulated cars compared with themselves on another day",
        sensitivity: "smaller differences are not called seen";

    /// How far the size of a change of such a time may be off, a share of the change.
    size_share: f64 = 0.1, "share", from 0.0 to 1.0,
        source: "simulated cars whose actuator was changed";

    /// Lap time or speed in corners that differs by more is other driving, a share: heat, slip and what follows
    /// from them are then not put down to the car.
    same_driving_share: f64 = 0.01, "share", from 0.0 to 1.0,
        reason: "a wheel on the verge of spinning turns a little more speed into much more slip, or less";

    /// The same of the way that the linings slide.
    same_slid_share: f64 = 0.2, "share", from 0.0 to 1.0,
        reason: "a wheel on the verge of spinning turns a little more drive into much more slip",
        source: "simulated cars compared with themselves on another day";

    /// The same of bends in which the clutch is open: preload and the turn make all of that heat.
    same_open_share: f64 = 0.02, "share", from 0.0 to 1.0,
        source: "simulated cars compared with themselves on another day";

    /// The same of the torque held by the tyres.
    same_held_share: f64 = 0.15, "share", from 0.0 to 1.0,
        source: "none, engineering guess: roads and load differ";

    /// The same of the numbers of the temperature model, beside their own scatter.
    same_thermal_share: f64 = 0.05, "share", from 0.0 to 1.0,
        source: "none, engineering guess: wind, rain, the undertray";

    /// Length of a stretch where there are no laps, and of a block of events.
    stretch_s: f64 = 60.0, "s", from 1.0 to 3600.0,
        source: "none, engineering guess: about a lap";

    /// Half width of the 90 % band by which two drives of one car are off with nothing changed
    /// but what no scatter shows: load, line, fit, sensor.
    same_car_share: f64 = 0.05, "share", from 0.0 to 1.0,
        reason: "ratios on the same car are good to 5 to 10 %",
        source: "from memory, an editable default",
        sensitivity: "smaller differences are not called seen";
}
