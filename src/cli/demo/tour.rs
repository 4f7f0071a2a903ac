//! What there is to see in the demonstration, each thing as a line that works as printed.

use crate::cli::demo::directory::Note;
use crate::cli::demo::people;
use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

/// The tour as it is written for every registry alike: tables of what, site, what to look for, where to see it.
const TOUR: &str = include_str!("../../../demo-seed/TOUR.md");

/// Something to look at: what is to be seen, whose eyes it takes, paths with names in place of identifiers.
struct Sight {
    what: &'static str,
    role: Role,
    paths: &'static [&'static str],
}

/// The first three.
const FIRST: &[Sight] = &[
    Sight {
        what: "Chromium(VI) among the frame welders, era by era: above the limit, until a control came",
        role: Role::Hygienist,
        paths: &["/groups/@group:ALD-WELD/profiles?agent_code=chromium_vi"],
    },
    Sight {
        what: "Whether that control lowered the exposure, by how much, and how sure that is",
        role: Role::Hygienist,
        paths: &["/tasks/@task:ALD-T01/control-verdicts?agent_code=chromium_vi"],
    },
    Sight {
        what: "A welder at two sites: his history, and the surveillance that only both sites together call for",
        role: Role::Physician,
        paths: &[
            "/workers/@worker:QR-1201/history?agent_code=chromium_vi",
            "/duties?worker_id=@worker:QR-1201",
        ],
    },
];

/// Shows people around in one registry at one address.
#[derive(Debug)]
pub(super) struct Guide<'n> {
    /// Where the service listens, `http://…`.
    pub address: String,
    /// Tokens, passwords and identifiers.
    pub note: &'n Note,
    /// A one-time code for each role.
    pub codes: &'n BTreeMap<Role, String>,
}

/// The people of the demonstration, first those whom it is about, and what each comes to see.
const PEOPLE: &[(Role, &str)] = &[
    (Role::Coordinator, "enters sampling events and laboratory reports"),
    (Role::Physician, "looks workers up across all sites and years"),
    (Role::Corporate, "sees all sites at a glance"),
    (Role::Hygienist, "judges groups and controls"),
    (Role::Administrator, "keeps accounts"),
];

impl Guide<'_> {
    /// What is printed once the service listens: address, tokens, the first three sights, how to stop.
    ///
    /// # Errors
    /// The demonstration in the directory is another one than this program's.
    pub(super) fn welcome(&self, tour: &Path) -> Result<String, Failure> {
        let mut text =
            format!("\nlistening on {}\n\nOpen one of these; each signs you in once:\n", self.address);
        for (role, what) in PEOPLE {
            let code = self.codes.get(role).map(String::as_str).unwrap_or_default();
            line(&mut text, &format!("\n  {}, who {what}:\n  {}/enter/{code}", role.as_str(), self.address));
        }
        line(&mut text, &format!("\nAfter that, at {}/sign-in:\n", self.address));
        for (role, _) in PEOPLE {
            let password = self.note.passwords.get(role).map(String::as_str).unwrap_or_default();
            line(&mut text, &format!("  {:34} {password}", people::address(*role)));
        }
        line(
            &mut text,
            "\nThe second factor is off in the demonstration; in service, physicians and administrators give one.",
        );
        line(&mut text, "\nFor programs, a token for each role, good for 90 days:\n");
        for (role, token) in &self.note.tokens {
            line(&mut text, &format!("  {:14} {token}", role.as_str()));
        }
        line(&mut text, "\nThree things to try:");
        for (n, sight) in FIRST.iter().enumerate() {
            let paths: Option<Vec<String>> = sight.paths.iter().map(|path| self.named(path)).collect();
            let paths = paths.ok_or_else(|| {
                Failure::Refused(
                    "this directory holds another demonstration; --fresh would load this one".into(),
                )
            })?;
            line(&mut text, &format!("\n{}. {} (as {})\n", n + 1, sight.what, sight.role));
            line(&mut text, &self.curl(sight.role, &paths));
        }
        line(&mut text, &format!("\nEverything else there is to see: {}", tour.display()));
        line(&mut text, &format!("The API is described at {}/api/docs", self.address));
        text.push_str("Stop with Ctrl-C; started again, all is as it was.");
        Ok(text)
    }

    /// The whole tour with the identifiers of this registry: every row followed by lines that work as printed.
    pub(super) fn tour(&self) -> String {
        let mut text = String::new();
        for told in TOUR.lines().take_while(|told| !told.starts_with("## The files")) {
            match row(told) {
                None if told.starts_with('|') => {}
                None => line(&mut text, told),
                Some([what, site, look_for, see_at]) => {
                    line(&mut text, &format!("* {what} ({site}): {look_for}\n"));
                    for path in quoted(see_at).filter(|path| path.starts_with('/')) {
                        for path in self.filled(path, site, look_for) {
                            let role =
                                if path.contains("worker") { Role::Physician } else { Role::Hygienist };
                            line(&mut text, &format!("      {}", self.curl(role, &[path])));
                        }
                    }
                    line(&mut text, "");
                }
            }
        }
        text
    }

    /// A path of the tour with identifiers in place of its braces: one for each thing that the row names.
    fn filled(&self, path: &str, site: &str, look_for: &str) -> Vec<String> {
        let first_site = site.split(',').next().unwrap_or_default().trim();
        let (before, after) = path.split_once("{id}").unwrap_or((path, ""));
        let kind = match before.trim_end_matches(['/', '=']).rsplit(['/', '?']).next() {
            Some("sites" | "site_id") => "site",
            Some("groups") => "group",
            Some("tasks") => "task",
            Some("workers" | "worker_id") => "worker",
            Some("sampling-events") => "event",
            Some("samples") => "sample",
            _ => "",
        };
        let codes: Vec<String> = if kind == "site" {
            vec![first_site.to_owned()]
        } else {
            quoted(look_for).map(|code| code.replace(' ', ":")).collect()
        };
        let mut paths: Vec<String> = codes
            .iter()
            .filter_map(|code| self.note.names.get(&format!("{kind}:{code}")))
            .map(|id| format!("{before}{id}{after}"))
            .collect();
        if !path.contains("{id}") {
            // `group_id={ALD-MNT}`: the group's code stands in the braces.
            let found = path.split_once('{').and_then(|(before, rest)| {
                let (code, after) = rest.split_once('}')?;
                Some(format!("{before}{}{after}", self.note.names.get(&format!("group:{code}"))?))
            });
            paths.extend(found);
        }
        paths
    }

    /// A path with identifiers in place of its `@names`.
    fn named(&self, path: &str) -> Option<String> {
        let mut rest = path;
        let mut text = String::new();
        while let Some((before, after)) = rest.split_once('@') {
            let end = after.find(['/', '?', '&']).unwrap_or(after.len());
            text.push_str(before);
            text.push_str(self.note.names.get(&after[..end])?);
            rest = &after[end..];
        }
        Some(text + rest)
    }

    fn curl(&self, role: Role, paths: &[String]) -> String {
        let token = self.note.tokens.get(&role).map(String::as_str).unwrap_or_default();
        let urls: Vec<String> = paths.iter().map(|path| format!("'{}/api/v1{path}'", self.address)).collect();
        format!("curl -s -H 'Authorization: Bearer {token}' {}", urls.join(" "))
    }
}

/// The four cells of a row of the tour; its head and its rule are none.
fn row(line: &str) -> Option<[&str; 4]> {
    let cells: Vec<&str> = line.strip_prefix('|')?.strip_suffix('|')?.split('|').map(str::trim).collect();
    let cells: [&str; 4] = cells.try_into().ok()?;
    (cells[0] != "what" && !cells[0].starts_with("---")).then_some(cells)
}

/// What stands between backticks.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

fn line(text: &mut String, told: &str) {
    writeln!(text, "{told}").expect("writing to a String cannot fail");
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note() -> Note {
        let names =
            [("task:ALD-T01", "t"), ("worker:QR-1201", "w"), ("group:ALD-MNT", "g"), ("site:ALD", "s")];
        let names = names.into_iter().chain([("sample:ALD:23-0086", "s1"), ("sample:ALD:23-0087", "s2")]);
        Note {
            tokens: [(Role::Physician, "dw1_p".to_owned())].into(),
            passwords: BTreeMap::new(),
            names: names.map(|(name, id)| (name.to_owned(), id.to_owned())).collect(),
        }
    }

    fn filled(path: &str, look_for: &str) -> Vec<String> {
        Guide { address: String::new(), note: &note(), codes: &BTreeMap::new() }
            .filled(path, "ALD, COL", look_for)
    }

    #[test]
    fn a_path_of_the_tour_gets_the_identifiers_of_what_its_row_names() {
        assert_eq!(
            filled("/tasks/{id}/control-verdicts?a=b", "control `ALD-C01` on task `ALD-T01`"),
            ["/tasks/t/control-verdicts?a=b"]
        );
        assert_eq!(
            filled("/samples/{id}", "samples `ALD 23-0086` and `ALD 23-0087`"),
            ["/samples/s1", "/samples/s2"]
        );
        assert_eq!(filled("/duties?worker_id={id}", "`QR-1201`"), ["/duties?worker_id=w"]);
        assert_eq!(filled("/shift-averages?group_id={ALD-MNT}&a=b", ""), ["/shift-averages?group_id=g&a=b"]);
        assert_eq!(filled("/sites/{id}/lab-reports", ""), ["/sites/s/lab-reports"]);
        assert_eq!(filled("/duties?site_id={id}", ""), ["/duties?site_id=s"]);
    }

    #[test]
    fn a_curl_line_carries_its_token_and_quotes_its_addresses() {
        let codes = BTreeMap::new();
        let guide = Guide { address: "http://127.0.0.1:8470".into(), note: &note(), codes: &codes };
        let path = guide.named("/duties?worker_id=@worker:QR-1201").unwrap();
        assert_eq!(
            guide.curl(Role::Physician, &[path]),
            "curl -s -H 'Authorization: Bearer dw1_p' 'http://127.0.0.1:8470/api/v1/duties?worker_id=w'"
        );
        assert_eq!(guide.named("/groups/@group:NONE"), None);
    }

    #[test]
    fn every_table_row_of_the_tour_is_read() {
        let rows = TOUR.lines().filter_map(row).count();
        assert!(rows > 30, "{rows}");
    }
}
