//! Pages to keep and to print: the frame that all share. A page is one file, without scripts, fonts or pictures from elsewhere, and says the same
//! bytes for the same input.

pub mod batch;

use maud::{DOCTYPE, Markup, PreEscaped, html};

/// How every page looks: dark on white, so that a black-and-white printer loses nothing; figures under each other; real squares to tick.
pub use barwright_answer::html::STYLE;

/// Nothing may be fetched or run, whatever a name says.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'";

/// Puts a page into its frame.
///
/// # Arguments
/// * `title`: of the window, and of the printed file.
/// * `body`: from the one `h1` on.
/// * `foot`: what stands at its end.
pub fn frame(title: &str, body: &Markup, foot: &str) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main { (body) }
                footer { p { (foot) } }
            }
        }
    }
    .into_string()
}

/// A square to tick.
pub fn tick() -> Markup {
    html! { span.tick role="img" aria-label="box to tick" {} }
}

/// A line to write on.
pub fn fill() -> Markup {
    html! { span.fill role="img" aria-label="to write in" {} }
}

/// A list of terms and their texts.
pub fn terms(items: &[(&str, String)]) -> Markup {
    html! {
        dl {
            @for (about, text) in items {
                div { dt { (about) } dd { (sentence(text)) } }
            }
        }
    }
}

/// A sentence of the terminal, with its commands and keys between backquotes set as such.
pub fn sentence(text: &str) -> Markup {
    html! {
        @for (index, piece) in text.split('`').enumerate() {
            @if index % 2 == 1 { code { (piece) } } @else { (piece) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_a_name_says_becomes_markup() {
        let name = "<script>alert('1')</script> \"&\" `a<b`";
        let page = frame(name, &html! { h1 { (sentence(name)) } }, name);
        assert!(!page.contains("<script"), "{page}");
        assert_eq!(page.matches("&lt;script&gt;").count(), 3, "{page}");
        assert!(page.contains("<code>a&lt;b</code>") && page.contains("&quot;&amp;&quot;"), "{page}");
    }
}
