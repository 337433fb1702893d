//! Pictures in files, SVG as it is, PNG by its pixels; and drawings for pages that have several.

use crate::outcome::Failure;
use resvg::{tiny_skia, usvg};
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::sync::Arc;

/// No picture has more pixels than this; a larger one is drawn smaller.
const MOST_PIXELS: f32 = 60e6;

/// What a file's ending asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sort {
    /// Lines and text.
    Svg,
    /// Pixels.
    Png,
}

/// By the ending of the name.
pub(crate) fn sort_of(path: &Path) -> Result<Sort, Failure> {
    let ending = path
        .extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    match ending.as_str() {
        "svg" => Ok(Sort::Svg),
        "png" => Ok(Sort::Png),
        _ => Err(Failure::misuse(
            format!("{} does not say what picture it shall be.", path.display()),
            "End the name in `.svg` or `.png`.",
        )),
    }
}

/// The picture as pixels, at its own size.
pub(crate) fn png(svg: &str) -> Result<Vec<u8>, Failure> {
    let broken = |what: String| {
        Failure::outside(
            format!("The picture could not be turned into pixels: {what}."),
            "Ask for a name ending in `.svg` instead.",
        )
    };
    let mut fonts = usvg::fontdb::Database::new();
    for file in typeface::files() {
        fonts.load_font_data(file.to_vec());
    }
    fonts.set_sans_serif_family("Sofia Sans Condensed");
    let options = usvg::Options {
        fontdb: Arc::new(fonts),
        font_family: "Sofia Sans Condensed".to_owned(),
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(svg, &options).map_err(|e| broken(e.to_string()))?;
    let size = tree.size();
    let scale = (MOST_PIXELS / (size.width() * size.height()))
        .sqrt()
        .min(1.0);
    let (width, height) = (
        (size.width() * scale).ceil() as u32,
        (size.height() * scale).ceil() as u32,
    );
    let mut pixels = tiny_skia::Pixmap::new(width.max(1), height.max(1))
        .ok_or_else(|| broken(format!("{width} by {height} is no size")))?;
    resvg::render(
        &tree,
        tiny_skia::Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    pixels.encode_png().map_err(|e| broken(e.to_string()))
}

/// Writes a picture whole or not at all.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let failed = |e: std::io::Error| {
        Failure::outside(
            format!("{} could not be written: {e}.", path.display()),
            "Look at the disk, the folder and its permissions.",
        )
    };
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let mut new = tempfile::Builder::new()
        .prefix(".tubewright-")
        .tempfile_in(folder)
        .map_err(failed)?;
    new.write_all(bytes).map_err(failed)?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // Readable as any other file, not for its maker alone.
        new.as_file()
            .set_permissions(fs::Permissions::from_mode(0o644))
            .map_err(failed)?;
    }
    new.as_file().sync_all().map_err(failed)?;
    new.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
}

/// A drawing for a page that has several: no place in it is named, so that none is named twice.
pub(crate) fn among_others(picture: &str, label: &str) -> String {
    let label = format!(" aria-label=\"{}\"", draw::svg::escape(label));
    let named = picture.replacen(" aria-labelledby=\"drawing-title drawing-desc\"", &label, 1);
    let mut pieces = named.split(" id=\"");
    let mut out = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        out.push_str(piece.split_once('"').map_or(piece, |(_, rest)| rest));
    }
    out
}
