//! The colours of all that is drawn and printed. Pictures take them from here; a test holds the style sheets to them.

/// Words, frames and ticks.
pub const INK: &str = "#1c1f1a";

/// Lesser words.
pub const SOFT: &str = "#4a4f45";

/// Lines of places and of tables.
pub const FAINT: &str = "#8a8f84";

/// One of many points.
pub(crate) const PALE: &str = "#bcc1b6";

/// Behind every second row.
pub const TINT: &str = "#f1f2ed";

/// Inks of data, each with a contrast above 4.5 on white.
pub(crate) const INKS: [&str; 4] = ["#1f4e79", "#97580b", "#3c6b4b", "#7a4a6d"];

/// What the style sheets call their colours: those above, and on the bench page its ground, hair lines, two bars with their bands, and the ring of what
/// has the focus.
pub const STYLES: [(&str, &str); 11] = [
    ("ink", INK),
    ("soft", SOFT),
    ("line", FAINT),
    ("tint", TINT),
    ("paper", "#fdfcf8"),
    ("hair", "#dcded6"),
    ("a", "#1f5a4c"),
    ("a-band", "#bcd5c9"),
    ("b", "#8f4511"),
    ("b-band", "#efcfae"),
    ("ring", "#123c7a"),
];
