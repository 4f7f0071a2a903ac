//! Names that say what is inside, and files of a size that can be read at one sitting.

use crate::source::{Source, files, root, sources};

/// Names behind which anything could hide.
const EMPTY_NAMES: &[&str] = &["utils", "util", "helpers", "helper", "common", "misc"];
/// The most lines a source file may have, the tests at its foot apart.
const LINES_MOST: usize = 500;
/// Folders that hold our own files.
const OURS: &[&str] = &["src", "tests", "migrations", "rules", "packaging", "demo-seed", "docs"];

#[test]
fn no_file_or_folder_has_a_name_that_says_nothing() {
    let mut faults = Vec::new();
    for folder in OURS {
        for path in files(&root().join(folder)) {
            let below = path.strip_prefix(root()).expect("it stands below the root");
            let empty = below
                .iter()
                .filter_map(|part| std::path::Path::new(part).file_stem()?.to_str())
                .any(|name| EMPTY_NAMES.contains(&name));
            if empty {
                faults.push(below.display().to_string());
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// The lines of a file, without the tests at its foot.
fn length(source: &Source) -> usize {
    source.text.lines().take_while(|line| *line != "#[cfg(test)]").count()
}

#[test]
fn no_source_file_is_longer_than_five_hundred_lines() {
    let long: Vec<String> = sources()
        .iter()
        .filter(|source| length(source) > LINES_MOST)
        .map(|source| format!("src/{}: {} lines", source.path, length(source)))
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

/// `DEVELOPERS.md` shows the rooms of `src/`; a room that is not there, or is missing, misleads a newcomer.
#[test]
fn the_map_of_the_house_equals_the_tree() {
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).expect("the map is there");
    let shown: Vec<&str> = text
        .lines()
        .filter_map(|line| line.trim_start().strip_prefix("src/"))
        .filter_map(|line| line.split([' ', '/']).next())
        .filter(|name| !name.is_empty())
        .collect();
    let mut rooms: Vec<String> =
        sources().iter().map(|source| source.path.split('/').next().unwrap_or_default().to_owned()).collect();
    rooms.dedup();
    for room in &rooms {
        assert!(shown.contains(&room.as_str()), "DEVELOPERS.md does not show src/{room}");
    }
    for name in shown {
        assert!(rooms.iter().any(|room| room == name), "DEVELOPERS.md shows src/{name}, which is not there");
    }
}
