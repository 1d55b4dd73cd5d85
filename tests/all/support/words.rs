//! Words on standard error as one writes them: not folded to the width of a screen.

/// Returns the text with lines that were folded put together again.
pub(crate) fn unfolded(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        match line.strip_prefix(' ') {
            Some(rest) if !out.is_empty() => {
                out.truncate(out.trim_end_matches('\n').len());
                out.push(' ');
                out.push_str(rest.trim_start());
            }
            _ => out.push_str(line),
        }
        out.push('\n');
    }
    out
}
