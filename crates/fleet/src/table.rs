//! The table of evidence as text: Markdown, as it stands in `docs/evidence.md`.

use std::fmt::Write;

use halfshaft_simulate::fleet::Form;

use crate::evidence::{Answers, Evidence};
use crate::figures::Fared;

/// The tables.
pub fn text(evidence: &Evidence) -> String {
    let mut text = String::new();
    write_all(&mut text, evidence).expect("writing to a string cannot fail");
    text
}

fn share(n: usize, of: usize) -> String {
    match of {
        0 => "–".to_owned(),
        _ => format!("{:.1} %", 100.0 * n as f64 / of as f64),
    }
}

fn write_all(text: &mut String, evidence: &Evidence) -> std::fmt::Result {
    overall(text, evidence)?;
    findings(text, evidence)?;
    faults(text, evidence)?;
    dirt(text, evidence)?;
    writeln!(text, "## Figures of healthy drives\n")?;
    writeln!(
        text,
        "Errors: a tenth of the drives lie below the first, half below the second, nine tenths below the third.\n"
    )?;
    writeln!(
        text,
        "| figure | drives | error: a tenth, median, nine tenths | band holds the truth | truth below | truth above | at least | null |"
    )?;
    writeln!(text, "|---|---|---|---|---|---|---|---|")?;
    for fared in &evidence.figures {
        figure(text, fared)?;
    }
    Ok(())
}

fn overall(text: &mut String, evidence: &Evidence) -> std::fmt::Result {
    let n = evidence.n_healthy;
    writeln!(text, "## In all\n\n| | drives | share |\n|---|---|---|")?;
    writeln!(text, "| healthy | {n} | |")?;
    for (what, count) in [
        ("… with a wrong act or stop", evidence.n_act),
        ("… with a wrong look soon at most", evidence.n_look),
        (
            "… with a wrong remark or notice on log and map",
            evidence.n_remarks,
        ),
        (
            "… whose log the program calls unfit for a verdict",
            evidence.n_unfit,
        ),
    ] {
        writeln!(text, "| {what} | {count} | {} |", share(count, n))?;
    }
    for form in [Form::Plain, Form::Mild] {
        let found = 100.0 * evidence.share_found(form);
        writeln!(
            text,
            "| {} faults found by name, where they could be looked for | | {found:.1} % |",
            form.word()
        )?;
    }
    writeln!(text)
}

fn findings(text: &mut String, evidence: &Evidence) -> std::fmt::Result {
    writeln!(text, "## Findings\n")?;
    writeln!(
        text,
        "Healthy: how many drives it fired on, by severity; *deserved* is what the truth bears out. Ill: drives whose fault it should name.\n"
    )?;
    writeln!(
        text,
        "| finding | note | look soon | act | stop | deserved | found | named otherwise | not checked | missed | wrong act or stop on ill |"
    )?;
    writeln!(text, "|---|---|---|---|---|---|---|---|---|---|---|")?;
    let ids: std::collections::BTreeSet<_> = evidence
        .healthy
        .keys()
        .chain(evidence.by_finding.keys())
        .chain(evidence.wrong_on_ill.keys())
        .collect();
    for id in ids {
        let [note, look, act, stop, deserved] =
            evidence.healthy.get(id).copied().unwrap_or_default();
        let [found, otherwise, unchecked, missed] =
            evidence.by_finding.get(id).copied().unwrap_or_default();
        let wrong = evidence.wrong_on_ill.get(id).copied().unwrap_or_default();
        writeln!(
            text,
            "| `{id}` | {note} | {look} | {act} | {stop} | {deserved} | {found} | {otherwise} | {unchecked} | {missed} | {wrong} |"
        )?;
    }
    writeln!(
        text,
        "\n| wrong remark on a healthy drive | drives |\n|---|---|"
    )?;
    for (word, n) in &evidence.remarks {
        writeln!(text, "| `{word}` | {n} |")?;
    }
    writeln!(text)
}

fn faults(text: &mut String, evidence: &Evidence) -> std::fmt::Result {
    writeln!(
        text,
        "## Faults\n\nFound by name, named otherwise, not checked, missed.\n"
    )?;
    writeln!(
        text,
        "| fault | form | in town | on the track |\n|---|---|---|---|"
    )?;
    let cell = |answers: &Answers| {
        let words = answers.map(|n| n.to_string());
        words.join(" / ")
    };
    for ((fault, form), [town, track]) in &evidence.ill {
        let form = form.word();
        writeln!(
            text,
            "| {} | {form} | {} | {} |",
            fault.word(),
            cell(town),
            cell(track)
        )?;
    }
    writeln!(text, "\nWhat they are:\n")?;
    for fault in halfshaft_simulate::fleet::Fault::ALL {
        writeln!(text, "- {}: {}", fault.word(), fault.text())?;
    }
    writeln!(text)
}

fn dirt(text: &mut String, evidence: &Evidence) -> std::fmt::Result {
    writeln!(
        text,
        "## Dirty wheels\n\nAgainst the same drive without the fault: changed by 2 % or more / withheld, and the greatest change; in per cent\n\
         of 1 kJ or 1 rad/s at least, and where a figure says \"at least\" and less than before, it holds.\n"
    )?;
    writeln!(
        text,
        "| fault | form | drives | heat | worst | highest slip | worst |\n|---|---|---|---|---|---|---|"
    )?;
    for ((fault, form), dirt) in &evidence.dirt {
        let form = form.word();
        writeln!(
            text,
            "| {} | {form} | {} | {} / {} | {:.1} % | {} / {} | {:.1} % |",
            fault.word(),
            dirt.n,
            dirt.n_changed[0],
            dirt.n_withheld[0],
            dirt.worst[0],
            dirt.n_changed[1],
            dirt.n_withheld[1],
            dirt.worst[1],
        )?;
    }
    writeln!(text)
}

fn figure(text: &mut String, fared: &Fared) -> std::fmt::Result {
    let unit = if fared.is_absolute { "" } else { " %" };
    let errors = match fared.n {
        0 => "–".to_owned(),
        _ => {
            let decimals = match fared.errors.iter().all(|error| error.abs() < 0.05) {
                true => 4,
                false => 1,
            };
            let words = fared
                .errors
                .map(|error| format!("{error:+.decimals$}{unit}"));
            words.join(", ")
        }
    };
    writeln!(
        text,
        "| `{}` | {} | {errors} | {} | {} | {} | {} | {} |",
        fared.id,
        fared.n,
        share(fared.n_held, fared.n),
        share(fared.n_below, fared.n),
        share(fared.n_above, fared.n),
        fared.n_at_least,
        fared.n_null,
    )
}
