//! A command that hunts.

limits! {
    /// A command that hunts.
    chatter: Chatter;

    /// Movement of the command that counts as a reversal, as a share of full.
    swing: f64 = 0.10, "share", from 0.01 to 1.0;

    /// Reversals per second that are too many.
    reversals_per_s: f64 = 3.0, "1/s", from 0.2 to 50.0,
        reason: "no driver's foot turns that often";

    /// How long it must go on.
    lasts_s: f64 = 2.0, "s", from 0.2 to 60.0;

    /// Longest period of a command that can show it.
    period_s: f64 = 0.1, "s", from 0.001 to 1.0,
        reason: "10 samples a second show five reversals",
        source: "derived";

    /// Engagements per 10 km of cruising that are too many.
    cruise_engagements: f64 = 60.0, "count", from 1.0 to 10000.0;

    /// Cruising needed to judge that.
    cruise_least_km: f64 = 5.0, "km", from 0.5 to 1000.0;

    /// Cruising is above this road speed, straight on.
    cruise_from_km_per_h: f64 = 50.0, "km/h", from 5.0 to 300.0;

    /// Cruising changes its speed by no more than this.
    cruise_steady_m_per_s2: f64 = 0.5, "m/s²", from 0.05 to 5.0;

    /// Share of a hunting stretch with a wheel spinning above which the command follows the wheels, as
    /// it should.
    spinning_share: f64 = 0.1, "share", from 0.0 to 1.0,
        reason: "a controller that catches a spin opens and closes again and again";
}
