//! A text as a square of dots that a telephone reads, drawn as SVG on the server.

use qrcodegen::{QrCode, QrCodeEcc};
use std::fmt::Write as _;

/// Empty dots around the square: the standard (ISO/IEC 18004) asks for four.
const MARGIN: i32 = 4;

/// The drawing as SVG; nothing where the text is too long.
pub fn drawing(text: &str, title: &str) -> Option<String> {
    let code = QrCode::encode_text(text, QrCodeEcc::Medium).ok()?;
    let size = code.size();
    let mut path = String::new();
    for y in 0..size {
        for x in (0..size).filter(|x| code.get_module(*x, y)) {
            write!(path, "M{} {}h1v1h-1z", x + MARGIN, y + MARGIN).expect("writing to a String cannot fail");
        }
    }
    let side = size + 2 * MARGIN;
    let title = title.replace('&', "&amp;").replace('<', "&lt;");
    Some(format!(
        "<svg class=\"qr\" viewBox=\"0 0 {side} {side}\" role=\"img\" aria-label=\"{}\" shape-rendering=\"crispEdges\">\
         <rect width=\"{side}\" height=\"{side}\" fill=\"#FFFFFF\"/><path d=\"{path}\" fill=\"#000000\"/></svg>",
        title.replace('"', "&quot;")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_square_has_its_margin_and_the_dot_in_the_corner_of_its_finder() {
        let svg = drawing("otpauth://totp/x", "a \"b\" & c").unwrap();
        assert!(svg.contains("M4 4h1v1h-1z"), "the corner of a finder is black");
        assert!(svg.contains("aria-label=\"a &quot;b&quot; &amp; c\""));
        assert!(drawing(&"x".repeat(5_000), "").is_none());
    }
}
