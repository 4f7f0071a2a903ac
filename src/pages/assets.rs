//! Style sheet, typeface, icon and scripts: served by the program itself, under names that tell their content.

use crate::pages::answer::Answer;
use crate::pages::charts;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::registry::journal::hex;
use axum::http::{StatusCode, header};
use sha2::{Digest as _, Sha256};
use std::sync::LazyLock;

const TOKENS: &str = include_str!("../../assets/tokens.css");
const ALMANAC: &str = include_str!("../../assets/almanac.css");
const READING: &str = include_str!("../../assets/reading.css");
const FACE: &[u8] = include_bytes!("../../assets/source-serif-4-latin-wght-normal.woff2");
const LICENCE: &str = include_str!("../../assets/source-serif-4-LICENSE.txt");
const ICON: &str = include_str!("../../assets/icon.svg");
const ENTRY: &str = include_str!("../../assets/entry.css");
const ENTRY_JS: &str = include_str!("../../assets/entry.js");
const PAGES_JS: &str = include_str!("../../assets/pages.js");

/// A file with the address that it has for as long as it stays what it is.
struct Asset {
    address: String,
    media_type: &'static str,
    bytes: Vec<u8>,
}

impl Asset {
    fn new(stem: &str, ending: &str, media_type: &'static str, bytes: Vec<u8>) -> Self {
        let digest = hex(&Sha256::digest(&bytes)[..8]);
        Self { address: format!("/assets/{stem}-{digest}.{ending}"), media_type, bytes }
    }
}

/// Everything that is served.
struct Assets {
    style: Asset,
    face: Asset,
    icon: Asset,
    script: Asset,
    entry_script: Asset,
    licence: Asset,
}

fn assets() -> &'static Assets {
    static ASSETS: LazyLock<Assets> = LazyLock::new(|| {
        let face = Asset::new("source-serif-4", "woff2", "font/woff2", FACE.to_vec());
        let style = format!("{TOKENS}\n{ALMANAC}\n{READING}\n{ENTRY}\n{}", charts::STYLE)
            .replace("{face}", &face.address);
        Assets {
            style: Asset::new("almanac", "css", "text/css; charset=utf-8", style.into_bytes()),
            icon: Asset::new("icon", "svg", "image/svg+xml", ICON.into()),
            script: Asset::new("pages", "js", "text/javascript; charset=utf-8", PAGES_JS.into()),
            entry_script: Asset::new("entry", "js", "text/javascript; charset=utf-8", ENTRY_JS.into()),
            licence: Asset::new("source-serif-4-licence", "txt", "text/plain; charset=utf-8", LICENCE.into()),
            face,
        }
    });
    &ASSETS
}

/// The address of the style sheet.
pub fn style() -> &'static str {
    &assets().style.address
}

/// The address of the typeface.
pub fn face() -> &'static str {
    &assets().face.address
}

/// The address of the icon.
pub fn icon() -> &'static str {
    &assets().icon.address
}

/// The address of the small script of all pages.
pub fn script() -> &'static str {
    &assets().script.address
}

/// The address of the script of the form for samples.
pub fn entry_script() -> &'static str {
    &assets().entry_script.address
}

/// The address of the licence of the typeface.
pub fn licence() -> &'static str {
    &assets().licence.address
}

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/assets/{name}", Who::Anybody, async |_, visit| {
        let all = assets();
        let all = [&all.style, &all.face, &all.icon, &all.script, &all.entry_script, &all.licence];
        let found = all.into_iter().find(|asset| asset.address == visit.path).ok_or_else(Stopped::unknown)?;
        Ok(Answer::file(StatusCode::OK, found.media_type, found.bytes.clone())
            .with(header::CACHE_CONTROL, "public, max-age=31536000, immutable"))
    })]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_style_sheet_asks_for_the_typeface_under_its_own_name_and_for_nothing_else() {
        let style = String::from_utf8(assets().style.bytes.clone()).unwrap();
        let asked: Vec<&str> =
            style.split("url(").skip(1).map(|rest| rest.split(')').next().unwrap_or_default()).collect();
        assert_eq!(asked, [face()]);
        assert!(!style.contains("http"), "nothing is asked of elsewhere");
    }
}
