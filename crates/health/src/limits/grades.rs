//! How far a figure is trusted by how it was made.

limits! {
    /// How far a figure is trusted by how it was made: grade A from 0.9, B from 0.7, C from 0.4.
    grades: Grades;

    /// Moves of the command, or of the pedal, from which a median is worth its grade A.
    enough_events: u32 = 10, "count", from 1.0 to 100000.0;

    /// Factor of a median that only many moves together show.
    pooled: f64 = 0.75, "share", from 0.0 to 1.0;

    /// Factor of a health index that goes by what is usual and not by the unit's own values.
    usual_values: f64 = 0.5, "share", from 0.0 to 1.0;

    /// Factor of a torque by the stiffness of tyres nobody measured.
    usual_tyres: f64 = 0.45, "share", from 0.0 to 1.0,
        reason: "tyres of common cars are softer or harder by a third";

    /// Factor of a split by cause while the tyre ratio is not known.
    unknown_ratio: f64 = 0.6, "share", from 0.0 to 1.0,
        reason: "never better than C: its band then allows for tyres that differ by 1 %";

    /// Factor of heat whose torque is read from the command, or is the preload alone.
    heat_by_command: f64 = 0.6, "share", from 0.0 to 1.0,
        reason: "never better than C: the sum is off by an unknown amount";

    /// Factor of a pack temperature that a sensor in the axle holds.
    fitted_pack: f64 = 0.75, "share", from 0.0 to 1.0,
        reason: "the model between sensor and pack remains";

    /// Factor of one by the model alone.
    model_alone: f64 = 0.3, "share", from 0.0 to 1.0;

    /// By this times the share of wheel samples lost between others a grade's factor falls.
    per_lost_sample: f64 = 2.0, "ratio", from 0.0 to 10.0,
        reason: "a lost sample leaves two steps unlike what they were, before it and behind it";

    /// Standard deviation, as a share of a time constant, up to which it is worth grade A.
    time_constant_sd: f64 = 0.1, "share", from 0.001 to 1.0,
        reason: "three of it are a third of the ratio that counts as slow cooling";
}
