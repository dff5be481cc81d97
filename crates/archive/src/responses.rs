//! Every answer of the actuator to an edge of the command, one a row.

use halfshaft_health::Reason;
use std::io::Write;

use halfshaft_health::actuator::Actuator;
use halfshaft_health::response::{Direction, Response};

use crate::about::About;
use crate::table::{Cell, Column, Error, column, write};

pub(crate) const COLUMNS: &[Column<Response>] = &[
    column(
        "time_ns",
        "ns",
        "When the command had gone half its way.",
        Cell::Whole(|response| response.time().0),
    ),
    column(
        "direction",
        "",
        "engage or release.",
        Cell::Text(|response| match response.direction() {
            Direction::Engage => "engage",
            Direction::Release => "release",
        }),
    ),
    column(
        "from",
        "1",
        "Command before, a share of full.",
        Cell::Number(|response| Some(response.edge.from)),
    ),
    column(
        "to",
        "1",
        "Command after, a share of full.",
        Cell::Number(|response| Some(response.edge.to)),
    ),
    column(
        "dead_time_s",
        "s",
        "From the command to the first movement, by the fit.",
        Cell::Number(Response::dead_time_s),
    ),
    column(
        "lag_s",
        "s",
        "Time constant of the fit; null where no reading lies on the way.",
        Cell::Number(|response| {
            let fit = response.fit.ok()?;
            fit.lag_sd_s.map(|_| fit.lag_s)
        }),
    ),
    column(
        "rise_time_s",
        "s",
        "From 10 to 90 % of the way, by the fit.",
        Cell::Number(Response::rise_time_s),
    ),
    column(
        "transition_time_s",
        "s",
        "From a step of the command to 90 % of the way, by the fit.",
        Cell::Number(Response::transition_time_s),
    ),
    column(
        "residual",
        "1",
        "Standard deviation of what the fit leaves, a share of full.",
        Cell::Number(|response| response.fit.ok().map(|fit| fit.residual_sd)),
    ),
    column(
        "oil_c",
        "degC",
        "Oil temperature.",
        Cell::Number(|response| response.oil_c),
    ),
    column(
        "supply_v",
        "V",
        "Supply voltage.",
        Cell::Number(|response| response.supply_v),
    ),
    column(
        "reason",
        "",
        "Why there is no fit; null where there is one.",
        Cell::TextOrNull(|response| response.fit.err().map(|reason| reason.text())),
    ),
];

/// Writes the answers, one a row; the channel that answered, or why there are no answers, is
/// in the metadata.
pub fn write_responses<W: Write + Send>(
    out: W,
    actuator: &Result<Actuator, Reason>,
    about: &About,
) -> Result<(), Error> {
    let (responses, told) = match actuator {
        Ok(actuator) => (
            actuator.responses.as_slice(),
            actuator.signal.clone().unwrap_or_default(),
        ),
        Err(why) => (&[][..], format!("no answers: {why}")),
    };
    let more = [("responses", told)];
    write(
        out,
        "halfshaft-responses/1",
        COLUMNS,
        responses,
        about,
        &more,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{about, open};
    use halfshaft_health::actuator::Motor;
    use halfshaft_health::response::{Edge, Unusable};
    use halfshaft_model::Time;

    fn refused(direction: Direction) -> Response {
        Response {
            edge: Edge {
                direction,
                began: Time(5),
                half: Time(7),
                ended: Time(9),
                first_new: Time(6),
                from: 0.25,
                to: 0.75,
                quickest: 0.5,
                run: 0,
            },
            signal: Some(3),
            resolution: None,
            phase: None,
            gone_before: None,
            fit: Err(Unusable::BrokenOff),
            crossings: Err(Unusable::BrokenOff),
            steady_error: None,
            oil_c: Some(60.0),
            supply_v: None,
        }
    }

    #[test]
    fn an_answer_without_a_fit_has_its_reason_and_no_times() {
        let responses = vec![refused(Direction::Engage), refused(Direction::Release)];
        let signal = Some("clutch.position".to_owned());
        let actuator = Actuator::of(responses, None, signal, Motor::default());
        let mut bytes = Vec::new();
        write_responses(&mut bytes, &Ok(actuator), &about()).expect("memory does not fail");
        let table = open(bytes);
        let text = |text: &str| Some(text.to_owned());
        assert_eq!(table.whole("time_ns"), [Some(7); 2]);
        assert_eq!(table.texts("direction"), [text("engage"), text("release")]);
        assert_eq!(table.numbers("to"), [Some(0.75); 2]);
        assert_eq!(table.numbers("dead_time_s"), [None; 2]);
        assert_eq!(table.numbers("oil_c"), [Some(60.0); 2]);
        assert_eq!(table.numbers("supply_v"), [None; 2]);
        let reason = Unusable::BrokenOff.text();
        assert_eq!(table.texts("reason"), [text(reason), text(reason)]);
        assert_eq!(table.key("halfshaft.responses"), "clutch.position");
    }

    #[test]
    fn without_answers_the_reason_is_in_the_metadata() {
        let mut bytes = Vec::new();
        let none = Err("no channel".to_owned().into());
        write_responses(&mut bytes, &none, &about()).expect("memory does not fail");
        let table = open(bytes);
        assert!(table.whole("time_ns").is_empty());
        assert_eq!(table.key("halfshaft.responses"), "no answers: no channel");
    }

    #[test]
    fn the_page_names_every_column_with_its_unit() {
        crate::testing::page_names(COLUMNS);
    }
}
