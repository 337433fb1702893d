//! The one typeface of drawings and paper, and its widths, so that room for a label is known before it is drawn.
//!
//! Sofia Sans Condensed (SIL Open Font License 1.1, `fonts/OFL.txt`), its advance widths in
//! thousandths of the size; the files in `fonts/` are the weights 500 and 700, Latin and Greek.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

/// Pixels of every text; smaller is not read at arm's length.
pub const SIZE: i32 = 16;
/// From one line to the next, pixels.
pub const LINE: i32 = 18;
/// How the pictures name the typeface.
pub const FAMILY: &str = "'Sofia Sans Condensed', 'Sofia Sans', sans-serif";

/// The font files, weights 500 and 700, for whoever turns a drawing into pixels.
#[must_use]
pub fn files() -> [&'static [u8]; 2] {
    [
        include_bytes!("../fonts/SofiaSansCondensed-500.ttf"),
        include_bytes!("../fonts/SofiaSansCondensed-700.ttf"),
    ]
}

/// Both weights as rules of a style sheet, with the files in them: a page that has these loads nothing.
#[must_use]
pub fn embedded() -> String {
    let [medium, bold] = files().map(|file| STANDARD.encode(file));
    let face = |weight: u16, data: &str| {
        format!(
            "@font-face{{font-family:'Sofia Sans Condensed';font-weight:{weight};src:url(data:font/ttf;base64,{data}) format('truetype')}}\n"
        )
    };
    face(500, &medium) + &face(700, &bold)
}

/// Code points 32 to 126.
const MEDIUM: [u16; 95] = [
    158, 199, 307, 464, 503, 733, 512, 164, 220, 221, 351, 489, 204, 372, 200, 302, 455, 362, 419,
    427, 432, 412, 448, 410, 448, 452, 199, 207, 489, 489, 489, 371, 753, 442, 454, 493, 499, 418,
    401, 508, 515, 208, 211, 466, 377, 605, 517, 501, 431, 501, 470, 435, 414, 502, 462, 665, 435,
    430, 423, 212, 302, 212, 395, 407, 209, 392, 420, 406, 422, 409, 296, 405, 433, 191, 185, 394,
    191, 648, 433, 421, 420, 422, 293, 366, 312, 423, 396, 573, 387, 395, 367, 218, 210, 218, 489,
];
const BOLD: [u16; 95] = [
    156, 224, 344, 486, 511, 754, 531, 180, 231, 232, 353, 489, 236, 383, 228, 328, 476, 392, 438,
    448, 465, 439, 471, 436, 472, 474, 223, 236, 489, 489, 489, 397, 769, 476, 475, 513, 518, 434,
    419, 525, 533, 222, 225, 493, 393, 632, 534, 520, 452, 520, 491, 451, 435, 521, 490, 698, 466,
    461, 442, 225, 328, 225, 418, 423, 230, 409, 434, 422, 436, 427, 312, 421, 445, 203, 200, 422,
    203, 663, 445, 436, 433, 435, 309, 384, 330, 437, 418, 603, 417, 416, 385, 241, 219, 241, 489,
];

/// Width of a text in pixels, rounded up. Letters that the files do not hold count as wide ones.
#[must_use]
pub fn width(text: &str, bold: bool) -> i32 {
    let table = if bold { &BOLD } else { &MEDIUM };
    let thousandths: u64 = text
        .chars()
        .map(|c| match c {
            ' '..='~' => u64::from(table[c as usize - 32]),
            'µ' | 'μ' => 441,
            'Ω' => 520,
            '°' => 313,
            '·' => 239,
            '−' | '±' | '×' => 489,
            '½' => 883,
            _ if (c as u32) < 0x250 => 650,
            _ => 1000,
        })
        .sum();
    let px = thousandths * u64::from(SIZE.unsigned_abs());
    i32::try_from(px.div_ceil(1000)).unwrap_or(i32::MAX / 4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_follow_the_table() {
        assert_eq!(width("", false), 0);
        assert_eq!(width("1", false), 6); // 362 / 1000 * 16 = 5.8
        assert!(width("V1a", true) > width("V1a", false));
        assert!(width("\u{1f600}", false) == 16);
    }
}
