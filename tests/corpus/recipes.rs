//! How the logs of the corpus are made: one recipe a folder, one behaviour a recipe.
//!
//! The car of all of them: clutch between case and left side gear, rolling radius 0.32 m,
//! preload 60 N·m. The drive: six seconds straight on at 60 rad/s of the left rear wheel.
//! From second 2 to second 4 the command is 50 %, the pack carries 500 N·m, and the right
//! wheel turns 4 rad/s faster, so that the pack slips by 2 rad/s and takes 1 kW.

use halfshaft_health::FigureId;
use std::fmt::Write;

/// How a folder of the corpus is made, and what follows from that by hand.
pub struct Recipe {
    /// Name of the folder.
    pub name: &'static str,
    /// What is in the log, and what it shows.
    pub about: &'static str,
    /// `car.map`.
    pub map: String,
    /// Name of the log in the folder.
    pub log_name: &'static str,
    /// The log.
    pub log: Vec<u8>,
    /// Figures that follow from the recipe: name, value, tolerance (absolute).
    pub derived: Vec<(FigureId, f64, f64)>,
}

/// One instant of the drive.
#[derive(Clone, Copy)]
struct Instant {
    index: usize,
    time: f64,
    left: f64,
    right: f64,
    command_percent: f64,
    torque_nm: f64,
}

impl Instant {
    /// Bytes 0 to 3 of the wheel frame.
    fn wheels(&self) -> [u8; 4] {
        let code = |speed: f64| ((speed / 0.01).round() as u16).to_be_bytes();
        let ([a, b], [c, d]) = (code(self.left), code(self.right));
        [a, b, c, d]
    }

    /// Command and torque: three bytes.
    fn clutch(&self) -> [u8; 3] {
        let [high, low] = ((self.torque_nm / 0.1).round() as u16).to_be_bytes();
        [(self.command_percent / 0.5).round() as u8, high, low]
    }

    /// The frame that carries it all: wheels, clutch, and in the last byte a counter.
    fn bytes(&self) -> [u8; 8] {
        let ([a, b, c, d], [e, f, g]) = (self.wheels(), self.clutch());
        [a, b, c, d, e, f, g, (self.index % 16) as u8]
    }
}

/// The drive, sampled every `period_s`.
fn drive(period_s: f64) -> Vec<Instant> {
    let n = (6.0 / period_s).round() as usize;
    let instant = |index: usize| {
        let time = index as f64 * period_s;
        let is_engaged = (2.0 - 1e-9..4.0 - 1e-9).contains(&time);
        let either = |engaged: f64, free: f64| if is_engaged { engaged } else { free };
        Instant {
            index,
            time,
            left: 60.0,
            right: either(64.0, 60.0),
            command_percent: either(50.0, 0.0),
            torque_nm: either(500.0, 60.0),
        }
    };
    (0..=n).map(instant).collect()
}

fn frame(log: &mut String, stamp: f64, bus: &str, id: u32, bytes: &[u8]) {
    let _ = write!(log, "({stamp:.6}) {bus} {id:03X}#");
    for byte in bytes {
        let _ = write!(log, "{byte:02X}");
    }
    log.push('\n');
}

/// The drive as log text, 20 ms a frame; `stamp` is the log's clock by the drive's time.
fn text(stamp: impl Fn(f64) -> f64) -> String {
    let mut log = String::new();
    for instant in drive(0.02) {
        frame(
            &mut log,
            stamp(instant.time),
            "can0",
            0x100,
            &instant.bytes(),
        );
    }
    log
}

const VEHICLE: &str = "\
vehicle \"bench car\"
  rolling radius 0.32 m
  clutch between case and left side gear
  preload 60 N.m
";

const WHEELS: &str = "  \
  wheel.rear.left in bytes 0 1
    step 0.01 rad/s
    absent 0xFFFF
  wheel.rear.right in bytes 2 3
    same as wheel.rear.left
";

const COMMAND: &str = "  \
  clutch.command in byte 4
    step 0.5 %
    means share
    full at 100 %
";

const TORQUE: &str = "  \
  clutch.torque in bytes 5 6
    step 0.1 N.m
    means pack torque
";

/// A map: the vehicle, facts of the frame, and what follows.
fn map(name: &str, vehicle: &str, frame_facts: &str, rest: &str) -> String {
    format!("map \"{name}\"\n\n{VEHICLE}{vehicle}\nframe 0x100\n{frame_facts}{rest}")
}

/// The map of the frame that carries it all.
fn whole_map(name: &str) -> String {
    let facts = format!("  every 20 ms\n{WHEELS}{COMMAND}{TORQUE}");
    map(name, "", &facts, "")
}

/// Heat of the drive, kJ: 1 kW from the first to the last engaged sample, and half of it
/// over the two sample intervals beside them, since the product is summed by trapezoids.
/// Whatever the period, that is 1 kW for 2 s.
const HEAT_KJ: f64 = 2.0;

fn usual() -> Vec<(FigureId, f64, f64)> {
    vec![
        (FigureId::Duration, 6.0, 1e-6),
        (FigureId::Engagements, 1.0, 0.0),
        (FigureId::PartialByCommand, 2.0, 0.001),
        (FigureId::PartialHeatMaking, 2.0, 0.03),
        (FigureId::SlipPeak, 2.0, 0.01),
        (FigureId::HeatTotal, HEAT_KJ, 0.002),
        (FigureId::HeatPeak, 1.0, 0.001),
        // 6 s at 60 rad/s and 2 s at 2 rad/s more.
        (FigureId::Distance, 0.32 * (360.0 + 4.0) * 1e-3, 1e-4),
    ]
}

/// The usual figures but for some.
fn but(changes: &[(FigureId, f64, f64)]) -> Vec<(FigureId, f64, f64)> {
    let is_changed = |id: &FigureId| changes.iter().any(|(changed, ..)| changed == id);
    let mut all = usual();
    all.retain(|(id, ..)| !is_changed(id));
    all.extend_from_slice(changes);
    all
}

fn log(
    name: &'static str,
    about: &'static str,
    map: String,
    log: String,
    derived: Vec<(FigureId, f64, f64)>,
) -> Recipe {
    Recipe {
        name,
        about,
        map,
        log_name: "log.txt",
        log: log.into_bytes(),
        derived,
    }
}

/// All recipes.
pub fn recipes() -> Vec<Recipe> {
    vec![
        clock_forward(),
        clock_back(),
        clock_from_zero(),
        clock_of_boot(),
        two_taps(),
        gap_in_command(),
        counter_skips(),
        checksum_failures(),
        pages(),
        not_available(),
        sheet_semicolons(),
        sheet_of_frames(),
        polled(),
        command_only(),
        wheels_only(),
        front_axle(),
        torque_by_command(),
        preload_only(),
        two_readings_of_a_comma(),
    ]
}

fn clock_forward() -> Recipe {
    log(
        "clock-forward",
        "The logger starts on its boot clock; after one second its clock is set to 2025. The \
         interval across the jump is lost and nothing else: no time is invented.",
        whole_map("clock forward"),
        text(|time| {
            if time < 1.0 {
                12.0 + time
            } else {
                1_750_000_000.0 + time
            }
        }),
        but(&[
            (FigureId::Duration, 5.98, 1e-6),
            (FigureId::Distance, 0.32 * (358.8 + 4.0) * 1e-3, 1e-4),
        ]),
    )
}

fn clock_back() -> Recipe {
    log(
        "clock-back",
        "After five seconds the clock steps back by a minute. The order of arrival stays and \
         the drive goes on; only the interval across the step is lost.",
        whole_map("clock back"),
        text(|time| 1_750_000_000.0 + if time < 5.0 { time } else { time - 60.0 }),
        but(&[
            (FigureId::Duration, 5.98, 1e-6),
            (FigureId::Distance, 0.32 * (358.8 + 4.0) * 1e-3, 1e-4),
        ]),
    )
}

fn clock_from_zero() -> Recipe {
    log(
        "clock-from-zero",
        "Stamps begin at 0, as a clock without a battery does in 1970: the date is unknown, \
         and no figure depends on it.",
        whole_map("clock from zero"),
        text(|time| time),
        usual(),
    )
}

fn clock_of_boot() -> Recipe {
    log(
        "clock-of-boot",
        "Stamps count from when the logger was switched on, half a day before: the date is \
         unknown, and no figure depends on it.",
        whole_map("clock of boot"),
        text(|time| 46_408.5 + time),
        usual(),
    )
}

fn two_taps() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.02) {
        let stamp = 100.0 + instant.time;
        frame(&mut text, stamp, "can0", 0x100, &instant.bytes());
        frame(&mut text, stamp + 0.0002, "can1", 0x100, &instant.bytes());
        if instant.index % 3 == 0 {
            frame(&mut text, stamp + 0.0004, "can0", 0x100, &instant.bytes());
        }
    }
    log(
        "two-taps",
        "Every frame stands on two buses, and every third one a third time on the first: the \
         copies are dropped and counted, 301 + 101, and the figures are those of one.",
        whole_map("two taps"),
        text,
        // The last entry is a copy, 0.4 ms after the frame.
        but(&[(FigureId::Duration, 6.0004, 1e-6)]),
    )
}

fn gap_in_command() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.04) {
        let stamp = 100.0 + instant.time;
        frame(&mut text, stamp, "can0", 0x100, &instant.wheels());
        // From 2.68 s to 3.32 s the clutch is not heard.
        if !(2.70..3.30).contains(&instant.time) {
            let [command, high, low] = instant.clutch();
            let bytes = [0, 0, 0, 0, command, high, low];
            frame(&mut text, stamp + 0.001, "can0", 0x101, &bytes);
        }
    }
    let rest = format!("\nframe 0x101\n  length 7 bytes\n  every 40 ms\n{COMMAND}{TORQUE}");
    log(
        "gap-in-command",
        "The frame of command and torque is silent for 0.64 s in the middle of the engagement, \
         longer than max(0.25 s, 3 periods). The engagement crosses the gap: it is one, and \
         broken. Times and heat leave the gap out and say `at least`.",
        map(
            "gap in command",
            "",
            &format!("  length 4 bytes\n  every 40 ms\n{WHEELS}"),
            &rest,
        ),
        text,
        but(&[
            (FigureId::Duration, 6.001, 1e-6),
            (FigureId::Engagements, 1.0, 0.0),
            (FigureId::PartialByCommand, 2.0 - 0.64, 0.001),
            (FigureId::PartialHeatMaking, 2.0 - 0.64, 0.06),
            // A wheel sample beside the gap may have no torque on either side of it.
            (FigureId::HeatTotal, HEAT_KJ - 0.64 - 0.02, 0.021),
        ]),
    )
}

fn counter_skips() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.02) {
        if ![50, 150, 151, 250].contains(&instant.index) {
            frame(
                &mut text,
                100.0 + instant.time,
                "can0",
                0x100,
                &instant.bytes(),
            );
        }
    }
    let facts = format!("  every 20 ms\n  counter 7.3..7.0 steps by 1\n{WHEELS}{COMMAND}{TORQUE}");
    log(
        "counter-skips",
        "Four frames are lost in three places: the counter tells, three skips are counted, \
         and so short a loss is bridged.",
        map("counter skips", "", &facts, ""),
        text,
        usual(),
    )
}

fn checksum_failures() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.02) {
        let mut bytes = instant.bytes();
        bytes[7] = bytes[..7].iter().fold(0x5A, |sum, byte| sum ^ byte);
        if [20, 140, 141, 260, 261].contains(&instant.index) {
            // A wheel at 600 rad/s, had it been believed.
            bytes[0] ^= 0xEA;
        }
        frame(&mut text, 100.0 + instant.time, "can0", 0x100, &bytes);
    }
    let facts = format!(
        "  every 20 ms\n  checksum byte 7 is xor of bytes 0 to 6 from 0x5A\n{WHEELS}{COMMAND}{TORQUE}"
    );
    log(
        "checksum-failures",
        "Five frames carry a wheel speed that cannot be and a checksum that shows it: they \
         are not used.",
        map("checksum failures", "", &facts, ""),
        text,
        usual(),
    )
}

fn pages() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.04) {
        let stamp = 100.0 + instant.time;
        frame(&mut text, stamp, "can0", 0x100, &instant.bytes());
        // The bytes that mean 85 °C on page 1 mean 12.5 V on page 2, and nobody knows page 3.
        let page: [u8; 4] = match instant.index % 3 {
            0 => [1, 125, 0, 0],
            1 => [2, 125, 0x01, 0x2C],
            _ => [3, 255, 255, 255],
        };
        frame(&mut text, stamp + 0.001, "can0", 0x2A0, &page);
    }
    let rest = "\nframe 0x2A0\n  length 4 bytes\n  every 40 ms\n  \
                page 0.3..0.0 is 1\n    every 120 ms\n    oil.temperature in byte 1\n      \
                step 1 degC\n      zero at -40 degC\n      sensor in oil\n  \
                page 0.3..0.0 is 2\n    every 120 ms\n    motor.voltage in byte 1\n      \
                step 0.1 V\n    motor.current in bytes 2 3\n      signed\n      step 0.01 A\n";
    let facts = format!("  every 40 ms\n{WHEELS}{COMMAND}{TORQUE}");
    log(
        "pages",
        "One byte means oil temperature on page 1 and motor voltage on page 2 of a frame; a \
         page that the map does not know says nothing.",
        map("pages", "", &facts, rest),
        text,
        but(&[
            (FigureId::Duration, 6.001, 1e-6),
            (FigureId::OilTempMax, 85.0, 1e-9),
        ]),
    )
}

fn not_available() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.02) {
        let mut bytes = instant.bytes();
        if (0.5..1.0).contains(&instant.time) {
            bytes[..4].fill(0xFF);
        }
        frame(&mut text, 100.0 + instant.time, "can0", 0x100, &bytes);
    }
    log(
        "not-available",
        "For half a second the car says that it does not know its rear wheel speeds (FFFF, \
         655.35 rad/s had it been a number). The samples are missing, the stretch counts in \
         no figure, and sums say `at least`.",
        whole_map("not available"),
        text,
        // From the last sample before to the first one after: 0.52 s.
        but(&[
            (FigureId::MovingTime, 6.0 - 0.52, 0.021),
            (
                FigureId::Distance,
                0.32 * (360.0 + 4.0 - 0.52 * 60.0) * 1e-3,
                5e-4,
            ),
        ]),
    )
}

fn sheet_semicolons() -> Recipe {
    let comma = |number: f64| format!("{number:.2}").replace('.', ",");
    let mut sheet =
        "Zeit;Rad HL;Rad HR;Sperre;Sperrmoment;Öltemperatur\r\ns;rad/s;rad/s;%;Nm;°C\r\n"
            .to_owned();
    for instant in drive(0.05) {
        // The slow sensor fills its cell in every tenth row.
        let oil = match instant.index {
            30 => "-".to_owned(),
            index if index % 10 == 0 => comma(80.0 + instant.time),
            _ => String::new(),
        };
        let cells = [
            comma(instant.time),
            comma(instant.left),
            comma(instant.right),
            comma(instant.command_percent),
            comma(instant.torque_nm),
            oil,
        ];
        sheet += &(cells.join(";") + "\r\n");
    }
    let latin_1 = sheet
        .chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?'));
    Recipe {
        name: "sheet-semicolons",
        about: "A sheet in Latin-1 with semicolons, decimal commas, a unit row and lines that \
                end in CR LF. An empty cell is no sample, `-` is a missing one.",
        map: format!(
            "map \"sheet semicolons\"\n\n{VEHICLE}\nsheet \"logger\"\n  unit row\n  \
             missing is \"-\"\n  time in \"Zeit\" as s\n  \
             wheel.rear.left in \"Rad HL\"\n    unit rad/s\n  \
             wheel.rear.right in \"Rad HR\"\n    unit rad/s\n  \
             clutch.command in \"Sperre\"\n    unit %\n    means share\n  \
             clutch.torque in \"Sperrmoment\"\n    unit N.m\n    means pack torque\n  \
             oil.temperature in \"öltemperatur\"\n    unit degC\n    sensor in oil\n"
        ),
        log_name: "sheet.csv",
        log: latin_1.collect(),
        derived: but(&[
            (FigureId::PartialHeatMaking, 2.0, 0.06),
            // Row 120, at 6 s.
            (FigureId::OilTempMax, 86.0, 1e-9),
        ]),
    }
}

fn sheet_of_frames() -> Recipe {
    let mut sheet = "ms,channel,id,n,b0,b1,b2,b3,b4,b5,b6,b7\n".to_owned();
    for instant in drive(0.02) {
        let bytes: Vec<String> = instant.bytes().iter().map(u8::to_string).collect();
        let _ = writeln!(
            sheet,
            "{:.1},1,256,8,{}",
            instant.time * 1e3,
            bytes.join(",")
        );
    }
    let mut map = whole_map("sheet of frames");
    map += "\nsheet \"frames\"\n  rows are frames\n  time in \"ms\" as ms\n  bus in \"channel\"\n  \
            id in \"id\" as decimal\n  length in \"n\"\n  bytes in columns 5 to 12 as decimal\n";
    Recipe {
        name: "sheet-of-frames",
        about: "A sheet whose rows are frames, with identifier and bytes in decimal: 256 is \
                0x100. The figures are those of the same frames as log text.",
        map,
        log_name: "sheet.csv",
        log: sheet.into_bytes(),
        derived: usual(),
    }
}

fn polled() -> Recipe {
    let mut text = String::new();
    // The same drive ten times as slow: 60 s, engaged from second 20 to second 40.
    for instant in drive(0.1) {
        let stamp = 100.0 + instant.time * 10.0;
        frame(&mut text, stamp, "can0", 0x100, &instant.bytes());
    }
    let facts = format!("{WHEELS}{COMMAND}{TORQUE}");
    log(
        "polled",
        "Everything is polled once a second. Sums are there, but nothing short can be seen: \
         the grade falls to D for want of time resolution, and the report says so.",
        map("polled", "", &facts, ""),
        text,
        vec![
            (FigureId::Duration, 60.0, 1e-6),
            (FigureId::Engagements, 1.0, 0.0),
            (FigureId::PartialByCommand, 20.0, 0.01),
            (FigureId::HeatTotal, 10.0 * HEAT_KJ, 0.02),
        ],
    )
}

fn command_only() -> Recipe {
    log(
        "command-only",
        "The map knows the command and no wheel speed: engagements and commanded time are \
         there, slip and heat are not, and why is said.",
        map("command only", "", &format!("  every 20 ms\n{COMMAND}"), ""),
        text(|time| 100.0 + time),
        vec![
            (FigureId::Duration, 6.0, 1e-6),
            (FigureId::Engagements, 1.0, 0.0),
            (FigureId::PartialByCommand, 2.0, 0.001),
        ],
    )
}

fn wheels_only() -> Recipe {
    log(
        "wheels-only",
        "The map knows the rear wheels and nothing of the clutch: times and distance are \
         there, heat and engagement are not, and why is said.",
        format!(
            "map \"wheels only\"\n\nvehicle \"bench car\"\n  rolling radius 0.32 m\n\nframe 0x100\n  \
             every 20 ms\n{WHEELS}"
        ),
        text(|time| 100.0 + time),
        vec![
            (FigureId::Duration, 6.0, 1e-6),
            (FigureId::MovingTime, 6.0, 0.021),
            (FigureId::Distance, 0.32 * (360.0 + 4.0) * 1e-3, 1e-4),
        ],
    )
}

fn front_axle() -> Recipe {
    // A left bend of 20 m radius at 10 m/s, 4 s: 0.5 rad/s, 2 rad = 114.59°. At the front
    // axle the wheels are 1.60 · 0.5 = 0.8 m/s apart, at the rear 1.55 · 0.5 = 0.775 m/s.
    let mut text = String::new();
    let code = |speed: f64| ((speed / 0.32 / 0.01).round() as u16).to_be_bytes();
    for index in 0..=160 {
        let time = f64::from(index) * 0.04;
        let yaw = if (1.0..5.0).contains(&time) { 0.5 } else { 0.0 };
        for (id, track) in [(0x100, 1.55), (0x101, 1.60)] {
            let half = 0.5 * track * yaw;
            let bytes = [code(10.0 - half), code(10.0 + half)].concat();
            frame(&mut text, 100.0 + time, "can0", id, &bytes);
        }
    }
    let front = WHEELS.replace("rear", "front");
    let rest = format!("\nframe 0x101\n  length 4 bytes\n  every 40 ms\n{front}");
    log(
        "front-axle",
        "A left bend of 20 m radius, 4 s at 10 m/s, known only from the four wheel speeds: the \
         front axle gives the turning, 0.5 rad/s for 4 s = 114.6°. With 60 N·m of preload and \
         0.775/0.32/2 = 1.211 rad/s of slip that is 291 J.",
        map(
            "front axle",
            "  rear track 1.55 m\n  front track 1.6 m\n",
            &format!("  length 4 bytes\n  every 40 ms\n{WHEELS}"),
            &rest,
        ),
        text,
        vec![
            (FigureId::TurnTotal, 114.59, 2.5),
            (FigureId::SlipPeak, 1.211, 0.02),
            (FigureId::HeatTotal, 60.0 * 1.211 * 4.0 * 1e-3, 0.006),
            (FigureId::Distance, 0.064, 1e-3),
        ],
    )
}

fn torque_by_command() -> Recipe {
    let mut text = String::new();
    for instant in drive(0.02) {
        frame(
            &mut text,
            100.0 + instant.time,
            "can0",
            0x100,
            &instant.bytes(),
        );
    }
    let vehicle = "  torque from table command-to-torque of clutch.command\n    gives pack torque\n    \
                   trust +/- 10 %\n";
    let table = "\ntable command-to-torque\n  input %\n  output N.m\n  hold beyond its ends\n  \
                 at 0 gives 60\n  at 50 gives 500\n  at 100 gives 1000\n";
    let facts = format!("  every 20 ms\n{WHEELS}{COMMAND}");
    log(
        "torque-by-command",
        "No state of the mechanism is known, so torque is taken from the command, which runs \
         ahead of it: heat is of grade C at best, and the low end of its band is divided by \
         1.73.",
        map("torque by command", vehicle, &facts, table),
        text,
        // The command holds until its next sample, so the edges are steps.
        but(&[(FigureId::HeatTotal, HEAT_KJ, 0.03)]),
    )
}

fn preload_only() -> Recipe {
    log(
        "preload-only",
        "The map states the preload and no source of torque, and the log has no command. Heat \
         is that of the preload alone, 60 N·m · 2 rad/s = 120 W for 2 s, and says `at least`.",
        map("preload only", "", &format!("  every 20 ms\n{WHEELS}"), ""),
        text(|time| 100.0 + time),
        vec![
            (FigureId::HeatTotal, 0.24, 0.005),
            (FigureId::HeatPeak, 0.12, 0.001),
            (FigureId::SlipPeak, 2.0, 0.01),
        ],
    )
}

fn two_readings_of_a_comma() -> Recipe {
    let mut sheet = "ms;HL;HR\n".to_owned();
    for index in 0..40 {
        let _ = writeln!(
            sheet,
            "{};1,{:03};1,{:03}",
            index * 20,
            200 + index,
            200 + index
        );
    }
    Recipe {
        name: "two-readings-of-a-comma",
        about: "Every number of a sheet has a comma and three digits after it: 1,234 can be a \
                good one or a thousand and more. The program does not guess; it names the cell \
                and the line of the map that decides, and ends with 2.",
        map: "map \"comma\"\n\nvehicle \"bench car\"\n  rolling radius 0.32 m\n\nsheet \"logger\"\n  \
              time in \"ms\" as ms\n  wheel.rear.left in \"HL\"\n    unit rpm\n  \
              wheel.rear.right in \"HR\"\n    unit rpm\n"
            .to_owned(),
        log_name: "sheet.csv",
        log: sheet.into_bytes(),
        derived: Vec::new(),
    }
}
