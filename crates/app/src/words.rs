//! Pieces of text made into sentences.

/// With a capital.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.trim().chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// With a capital and a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let text = capital(text);
    if text.is_empty() || text.ends_with(['.', '?', '!']) {
        text
    } else {
        format!("{text}.")
    }
}
