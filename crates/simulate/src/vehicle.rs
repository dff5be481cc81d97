//! The invented car: every number of it, and the same as a map would state them.
//!
//! In: nothing. Out: [`VehicleTrue`], from which a [`Vehicle`] follows with exact values
//! or with values that miss the truth by a drawn error of a stated tolerance.

use crate::actuator::ActuatorParameters;
use crate::controller::{Gains, Strategy};
use crate::frames;
use crate::random::Random;
use crate::thermal::ThermalParameters;
use halfshaft_model::channel::name;
use halfshaft_model::vehicle::Pack;
use halfshaft_model::{Beyond, Layout, Table, Toleranced, TorqueSource, Vehicle};

/// Every true number of the car.
#[derive(Clone, Debug)]
pub struct VehicleTrue {
    /// Name.
    pub name: String,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Distance between the axles, m.
    pub wheelbase_m: f64,
    /// Share of the weight on the rear axle.
    pub rear_share: f64,
    /// Height of the centre of gravity, m.
    pub gravity_height_m: f64,
    /// Share of the lateral load transfer the rear axle takes.
    pub rear_roll_share: f64,
    /// Rear track, m.
    pub track_rear_m: f64,
    /// Front track, m.
    pub track_front_m: f64,
    /// Rolling radius the car itself divides by, m.
    pub radius_m: f64,
    /// Right wheel faster than the left one on a straight by this share: ln(ωR/ωL).
    pub tyre_mismatch: f64,
    /// Longitudinal stiffness of one tyre, N per unit slip.
    pub tyre_stiffness_n: f64,
    /// Coefficient of friction between tyre and road.
    pub grip: f64,
    /// Inertia of one wheel, kg·m².
    pub wheel_inertia_kg_m2: f64,
    /// Inertia of engine and gearbox seen at the case, kg·m².
    pub case_inertia_kg_m2: f64,
    /// Greatest torque into the case, N·m.
    pub drive_torque_nm: f64,
    /// Greatest power into the case, W.
    pub drive_power_w: f64,
    /// Torque of the engine's drag at the case, N·m.
    pub engine_drag_nm: f64,
    /// Air drag, N per (m/s)².
    pub air_drag_n_s2_per_m2: f64,
    /// Rolling resistance, a share of the weight.
    pub rolling_resistance: f64,
    /// Final drive ratio.
    pub final_ratio: f64,
    /// Steering wheel angle per road wheel angle.
    pub steering_ratio: f64,
    /// Extra road wheel angle per lateral acceleration, rad/(m/s²).
    pub understeer_rad_s2_per_m: f64,
    /// Where the pack sits. A geared pack is not simulated: it is taken for one between the
    /// case and one side gear.
    pub layout: Layout,
    /// The pack.
    pub pack: Pack,
    /// Position as a share of full, and torque of one pack there, N·m; the first is preload.
    /// At least one point, shares rising.
    pub torque_points: Vec<(f64, f64)>,
    /// The actuator.
    pub actuator: ActuatorParameters,
    /// The controller.
    pub strategy: Strategy,
    /// Temperatures.
    pub thermal: ThermalParameters,
    /// Supply voltage with the engine running, V.
    pub supply_v: f64,
    /// Whether the gearbox shifts without the driver lifting.
    pub is_automatic: bool,
}

/// How far a map may miss the truth: one standard deviation of each, as a share.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerances {
    /// Rolling radius.
    pub radius: f64,
    /// Rear track.
    pub track: f64,
    /// The torque table as a whole.
    pub torque: f64,
    /// Friction.
    pub friction: f64,
    /// Preload.
    pub preload: f64,
}

impl Tolerances {
    /// Nothing is missed.
    pub const EXACT: Tolerances = Tolerances {
        radius: 0.0,
        track: 0.0,
        torque: 0.0,
        friction: 0.0,
        preload: 0.0,
    };
    /// What a careful owner of a map states.
    pub const USUAL: Tolerances = Tolerances {
        radius: 0.02,
        track: 0.01,
        torque: 0.15,
        friction: 0.2,
        preload: 0.1,
    };
}

impl VehicleTrue {
    /// The Brindlecote 30, the car of the sample drives. No such car exists.
    pub fn brindlecote_30() -> VehicleTrue {
        VehicleTrue {
            name: "Brindlecote 30 coupe".to_owned(),
            mass_kg: 1520.0,
            wheelbase_m: 2.70,
            rear_share: 0.52,
            gravity_height_m: 0.52,
            rear_roll_share: 0.45,
            track_rear_m: 1.55,
            track_front_m: 1.54,
            radius_m: 0.32,
            tyre_mismatch: 0.0008,
            tyre_stiffness_n: 80e3,
            grip: 1.05,
            wheel_inertia_kg_m2: 1.3,
            case_inertia_kg_m2: 4.0,
            drive_torque_nm: 2600.0,
            drive_power_w: 190e3,
            engine_drag_nm: 180.0,
            air_drag_n_s2_per_m2: 0.40,
            rolling_resistance: 0.012,
            final_ratio: 3.31,
            steering_ratio: 14.5,
            understeer_rad_s2_per_m: 0.0025,
            layout: Layout::CaseToOneSide,
            pack: Pack {
                n_faces: 14,
                outer_radius_m: 0.060,
                inner_radius_m: 0.044,
                groove_share: 0.16,
                friction: Some(Toleranced {
                    value: 0.115,
                    sd: 0.02,
                }),
            },
            torque_points: vec![
                (0.0, 70.0),
                (0.15, 90.0),
                (0.35, 210.0),
                (0.6, 520.0),
                (0.8, 860.0),
                (1.0, 1250.0),
            ],
            actuator: ActuatorParameters {
                dead_time_s: 0.030,
                lag_s: 0.055,
                fastest_per_s: 9.0,
                holding_current_a: 5.0,
                friction_current_a: 1.2,
                moving_current_a_s: 0.9,
                supply_resistance_ohm: 0.06,
            },
            strategy: Strategy::Road(Gains {
                per_throttle: 0.55,
                per_excess_s_per_rad: 0.10,
                ready: 0.07,
            }),
            thermal: ThermalParameters::default(),
            supply_v: 13.9,
            is_automatic: false,
        }
    }

    /// Rolling radius of the rear left and right tyre, m.
    pub fn rear_radius_m(&self) -> [f64; 2] {
        [
            self.radius_m * (1.0 + 0.5 * self.tyre_mismatch),
            self.radius_m * (1.0 - 0.5 * self.tyre_mismatch),
        ]
    }

    /// Torque of one pack with no command, N·m.
    pub fn preload_nm(&self) -> f64 {
        self.torque_points[0].1
    }

    /// Torque of one pack against the position as a share of full.
    pub fn torque_table(&self) -> Table {
        self.table_scaled(1.0, 1.0)
    }

    fn table_scaled(&self, per_share: f64, torque_factor: f64) -> Table {
        let (x, y) = self
            .torque_points
            .iter()
            .map(|(share, torque)| (share * per_share, torque * torque_factor))
            .unzip();
        Table::one(x, y, Beyond::Hold).expect("the torque points of a vehicle rise and are finite")
    }

    /// The car as a map with exact values would state it.
    pub fn vehicle(&self) -> Vehicle {
        self.vehicle_within(&Tolerances::EXACT, 0)
    }

    /// The car as a map states it whose values miss the truth by errors drawn from the
    /// stated tolerances.
    pub fn vehicle_within(&self, tolerances: &Tolerances, seed: u64) -> Vehicle {
        let mut random = Random::new(seed ^ 0x6D61_7073);
        // The stated value is such that the truth lies `z` deviations from it.
        let mut stated = |truth: f64, relative_sd: f64| {
            let value = truth / (1.0 + relative_sd * random.normal());
            Toleranced {
                value,
                sd: value * relative_sd,
            }
        };
        let radius = stated(self.radius_m, tolerances.radius);
        let track = stated(self.track_rear_m, tolerances.track);
        let torque = stated(1.0, tolerances.torque);
        let preload = stated(self.preload_nm(), tolerances.preload);
        let friction = self
            .pack
            .friction
            .map(|friction| stated(friction.value, tolerances.friction));
        Vehicle {
            name: self.name.clone(),
            unit: Some("BC-R2".to_owned()),
            track_rear_m: Some(track),
            track_front_m: Some(Toleranced::exact(self.track_front_m)),
            rolling_radius_m: Some(radius),
            final_ratio: Some(self.final_ratio),
            mass_kg: Some(self.mass_kg),
            tyre_stiffness_n: Some(self.tyre_stiffness_n),
            layout: Some(self.layout),
            pack: Some(Pack {
                friction,
                ..self.pack
            }),
            preload_nm: Some(preload),
            torque_sources: vec![TorqueSource::Table {
                channel: name::CLUTCH_POSITION.to_owned(),
                second: None,
                table: self.table_scaled(frames::POSITION_FULL_DEG.to_radians(), torque.value),
                is_axle_bias: false,
                relative_sd: tolerances.torque,
            }],
            oil_volume_m3: Some(0.9e-3),
            oil_name: Some("75W-90 LS".to_owned()),
            oil_warn_c: Some(130.0),
            oil_limit_c: Some(150.0),
            motor_voltage_v: Some(12.0),
            motor_current_a: Some(16.0),
            motor_resistance_ohm: None,
            rated_rise_s: Some(0.15),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stated_values_miss_the_truth_as_often_as_their_tolerance_says() {
        let car = VehicleTrue::brindlecote_30();
        assert_eq!(
            car.vehicle().rolling_radius_m,
            Some(Toleranced::exact(0.32))
        );
        let n = 2000;
        let within = (0..n)
            .filter(|&seed| {
                let radius = car
                    .vehicle_within(&Tolerances::USUAL, seed)
                    .rolling_radius_m
                    .unwrap();
                (radius.value - car.radius_m).abs() < 1.645 * radius.sd
            })
            .count();
        // 90 % of 2000 with five standard errors.
        assert!((within as f64 / n as f64 - 0.9).abs() < 0.034, "{within}");
    }
}
