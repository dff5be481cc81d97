//! The page as text, and what a browser lets it do.

use std::sync::LazyLock;

const PAGE: &str = include_str!("page.html");
const TOKEN: &str = include_str!("token.html");
const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// What a browser lets the page do: its own look and its one script, both by their SHA-256, and to speak to
/// where it came from. Foreign text that slipped in as a tag would load nothing and run nothing.
pub const POLICY: &str = include_str!("policy.txt");

/// The page.
pub static LIVE: LazyLock<String> = LazyLock::new(|| with_style(PAGE).replace("{script}", SCRIPT));

/// The form for the token.
pub static ASKS_TOKEN: LazyLock<String> = LazyLock::new(|| with_style(TOKEN));

/// The policy as a header.
pub fn policy() -> String {
    POLICY.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn with_style(page: &str) -> String {
    let style = format!("{}{}{STYLE}", halfshaft_report::html::STYLE, by_button());
    page.replace("{style}", &style)
}

/// The colours of the report by day and by night once more, for the button that chooses between them.
fn by_button() -> String {
    let report = halfshaft_report::html::STYLE;
    let colours = |from: &str| {
        let after = report.split_once(from).map_or("", |(_, after)| after);
        let block = after.split_once("{").map_or("", |(_, block)| block);
        block.split_once("}").map_or("", |(colours, _)| colours)
    };
    format!(
        ":root.light {{ color-scheme: light; {} }}\n:root.dark {{ color-scheme: dark; {} }}\n",
        colours(":root"),
        colours("(prefers-color-scheme: dark) {\n  :root")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_choices_have_all_colours() {
        let style = by_button();
        assert_eq!(style.matches("--paper:").count(), 2, "{style}");
        assert_eq!(style.matches("--sound:").count(), 2, "{style}");
        assert!(LIVE.contains(&style) && !LIVE.contains("{style}") && !LIVE.contains("{script}"));
        assert!(!ASKS_TOKEN.contains("{style}"));
    }

    #[test]
    fn nothing_is_fetched_from_elsewhere() {
        for page in [LIVE.as_str(), ASKS_TOKEN.as_str()] {
            // The name of what drawings are made of; nobody fetches it.
            let page = page.replace("http://www.w3.org/2000/svg", "");
            for word in ["http:", "https:", "//www", "@import", "url("] {
                assert!(!page.contains(word), "{word}");
            }
        }
        assert!(policy().starts_with("default-src 'none'"));
    }
}
