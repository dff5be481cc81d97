//! Single hard hits on the lining.

limits! {
    /// Single hard hits on the lining.
    hit: Hit;

    /// Energy of one event per net lining area that may hurt (paper).
    energy_j_per_mm2: f64 = 1.0, "J/mm²", from 0.01 to 100.0,
        source: "from memory, 0.5 to 1 J/mm² for paper; carbon bears 1.5 to 2 times as much",
        sensitivity: "the torque's tolerance passes on in full";

    /// Power per net lining area that may hurt when it lasts (paper).
    power_w_per_mm2: f64 = 1.5, "W/mm²", from 0.01 to 100.0,
        source: "from memory, brief peaks of 1 to 2 W/mm² for paper";

    /// How long it must last.
    power_s: f64 = 0.3, "s", from 0.0 to 60.0;
}
