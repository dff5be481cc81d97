//! Whether expectations are written anew instead of compared.

/// `HALFSHAFT_REWRITE=1` asks for it. Where `CI` is set nothing may be rewritten: a test would
/// pass on whatever the program does.
pub fn is_rewriting() -> bool {
    let is_set = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    decide(is_set("HALFSHAFT_REWRITE"), is_set("CI"))
}

fn decide(is_asked: bool, is_ci: bool) -> bool {
    assert!(
        !(is_asked && is_ci),
        "HALFSHAFT_REWRITE and CI are both set: expectations are not rewritten there"
    );
    is_asked
}

#[test]
fn nothing_is_rewritten_in_ci() {
    assert!(decide(true, false) && !decide(false, false) && !decide(false, true));
    assert!(std::panic::catch_unwind(|| decide(true, true)).is_err());
}
