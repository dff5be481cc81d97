//! Wheel speeds that ripple with the turns of their wheel.

limits! {
    /// Wheel speeds that ripple with the turns of their wheel.
    ripple: RippleLimits;

    /// Amplitude of the ripple, as a share of the wheel speed, that is too much.
    share: f64 = 0.02, "share", from 0.001 to 0.5,
        reason: "a sound ring shows a few thousandths";

    /// The other rear wheel shows less than this share of it.
    other_wheel: f64 = 0.5, "share", from 0.0 to 1.0,
        reason: "cobbles and judder shake both";

    /// Share of the stretches judged that must show it.
    of_stretches: f64 = 0.5, "share", from 0.05 to 1.0,
        reason: "a damaged ring comes round in every turn";

    /// Stretches of some turns of the wheel needed to judge.
    stretches: u32 = 10, "count", from 1.0 to 10000.0;

    /// Wheel speed from which stretches are judged.
    from_rad_per_s: f64 = 15.0, "rad/s", from 1.0 to 200.0,
        reason: "coarse speeds of crawling are left out";
}
