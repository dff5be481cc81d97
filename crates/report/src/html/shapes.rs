//! The shapes that say a severity without colour.

use halfshaft_health::verdict::Kind;
use halfshaft_health::{Severity, Verdict};
use maud::{Markup, PreEscaped, html};

/// Class that colours a shape and its word.
pub(super) fn class(kind: Kind) -> &'static str {
    match kind {
        Kind::Found(Severity::Stop) => "stop",
        Kind::Found(Severity::Act) => "act",
        Kind::Found(Severity::LookSoon) => "look-soon",
        Kind::Found(Severity::Note) => "note-worthy",
        Kind::NothingFound => "sound",
        Kind::NothingSeen => "unseen",
        Kind::CannotTell(_) => "open-question",
    }
}

/// The same for a verdict: "nothing wrong" after few checks has no look of its own.
pub(super) fn class_of(verdict: &Verdict) -> &'static str {
    match verdict.kind {
        Kind::NothingSeen if verdict.is_thin => "open-question",
        kind => class(kind),
    }
}

/// The shape of a verdict; without the tick where it says little.
pub(super) fn shape_of(verdict: &Verdict) -> Markup {
    match verdict.kind {
        Kind::NothingSeen if verdict.is_thin => drawn(
            class_of(verdict),
            r#"<circle class="line dashed" cx="24" cy="24" r="20"/><path class="line" d="M15 24h18"/>"#,
        ),
        kind => shape(kind),
    }
}

/// An octagon stops, a triangle calls for action, a diamond for a look, a square holds a
/// note; a whole ring with a tick is sound, a broken one is not the whole story.
pub(super) fn shape(kind: Kind) -> Markup {
    let inside = match kind {
        Kind::Found(Severity::Stop) => {
            r#"<path class="body" d="M14 2h20l12 12v20l-12 12h-20l-12-12v-20z"/><path class="sign" d="M14 24h20"/>"#
        }
        Kind::Found(Severity::Act) => {
            r#"<path class="body" d="M24 3L46 44H2z"/><path class="sign" d="M24 18v13M24 37v1"/>"#
        }
        Kind::Found(Severity::LookSoon) => {
            r#"<path class="body" d="M24 2L46 24L24 46L2 24z"/><path class="sign" d="M24 14v13M24 33v1"/>"#
        }
        Kind::Found(Severity::Note) => {
            r#"<path class="body" d="M5 5h38v38h-38z"/><path class="sign" d="M14 17h20M14 24h20M14 31h12"/>"#
        }
        Kind::NothingFound => {
            r#"<circle class="line" cx="24" cy="24" r="20"/><path class="line" d="M14 25l7 7l13-15"/>"#
        }
        Kind::NothingSeen => {
            r#"<circle class="line dashed" cx="24" cy="24" r="20"/><path class="line" d="M14 25l7 7l13-15"/>"#
        }
        Kind::CannotTell(_) => {
            r#"<circle class="line dashed" cx="24" cy="24" r="20"/><path class="line" d="M17 19a7 7 0 1 1 10 6c-3 1.500-3 3-3 5M24 35v1"/>"#
        }
    };
    drawn(class(kind), inside)
}

fn drawn(class: &str, inside: &str) -> Markup {
    html! {
        svg.shape.{ "is-" (class) } viewBox="0 0 48 48" aria-hidden="true" { (PreEscaped(inside)) }
    }
}
