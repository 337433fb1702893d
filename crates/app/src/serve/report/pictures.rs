//! Photos of the record, small enough to go home.

use super::Gathered;
use report::{Block, Content, Document, Picture};
use shop::ShopError;

/// Photos in the owner's version.
const MOST_OWNER: usize = 4;
/// Photos in the full record.
const MOST_FULL: usize = 24;

/// The photos, the first first.
pub(super) fn photos(g: &Gathered<'_>, d: &mut Document) -> Result<(), ShopError> {
    let most = if g.wanted.full { MOST_FULL } else { MOST_OWNER };
    let mut pictures = Vec::new();
    for p in g.photos.iter().take(most) {
        let words = if p.caption.is_empty() {
            &p.file_name
        } else {
            &p.caption
        };
        let (content, width, height) = if g.wanted.whole {
            let shown = g.site.shop.content(&p.shown)?;
            match crate::serve::photo::smaller(&shown) {
                Some((jpeg, width, height)) => (Content::jpeg(&jpeg), width, height),
                None => continue,
            }
        } else {
            let address = format!("/job/{}/photos/{}/large", g.id, p.id);
            (Content::At(address), p.width, p.height)
        };
        pictures.push(Picture {
            alt: words.clone(),
            caption: words.clone(),
            width,
            height,
            content,
        });
    }
    if !pictures.is_empty() {
        let left = g.photos.len() - pictures.len();
        d.heading("Photos");
        d.blocks.push(Block::Pictures { pictures });
        if left > 0 {
            d.say(format!("The record holds {left} more."));
        }
    }
    Ok(())
}
