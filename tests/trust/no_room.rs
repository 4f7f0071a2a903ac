//! No room on the disk: whoever writes is told so, nothing of it stays, reading goes on, and writing too once there is room.

use crate::acknowledged::List;
use crate::client::{Answer, Client};
use crate::fresh::{self, Fresh};
use crate::running::{Running, serve};
use crate::works::{Plant, found, is_sound};
use serde_json::json;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use tokio::process::Command;

/// Rows of the reports, and as many samples.
const ROWS: usize = 60;

struct Scene {
    client: Client,
    plant: Plant,
    list: List,
    fresh: Fresh,
    folder: tempfile::TempDir,
}

/// A registry with a plant, and nobody who serves it.
async fn scene() -> Scene {
    let fresh = Fresh::on_sqlite();
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let mut running = Running::start(&fresh.url).await;
    let plant = Plant::found(&client, &running.address, 1).await;
    running.kill().await;
    // The last to close brings everything into the one file.
    registry.database.close().await;
    let folder = tempfile::tempdir().unwrap();
    Scene { client, plant, list: List::begin(folder.path()), fresh, folder }
}

/// What is said where there is no room.
fn says_no_room(answer: &Answer) {
    assert_eq!((answer.status, answer.problem().as_str()), (507, "no_room"), "{}", answer.text);
    assert_eq!(answer.header("content-type"), "application/problem+json");
    assert!(answer.header("retry-after").parse::<u32>().is_ok());
}

impl Scene {
    /// Writes until something is refused for want of room; gives what was, and every import that was acknowledged.
    async fn fill(&self, address: &str, name: &str) -> (String, usize) {
        for n in 0..2000 {
            let reference = format!("{name}{n}");
            for asked in [self.plant.event(&reference, ROWS), self.plant.report(&reference, ROWS)] {
                let answer = self.client.post_listed(&self.list, address, &asked).await.unwrap();
                if answer.status != 201 {
                    says_no_room(&answer);
                    return (reference, n);
                }
            }
        }
        panic!("there is always room");
    }

    /// Reading goes on; what names workers leaves a line before it is answered, so it may be refused.
    async fn reads(&self, address: &str) {
        let site = &self.plant.site;
        for path in
            [format!("/sites/{site}/groups"), format!("/groups/{}", self.plant.group), "/agents".into()]
        {
            assert_eq!(self.client.get(address, &path).await.status, 200, "{path}");
        }
        let named = self.client.get(address, "/exports/samples.csv").await;
        if named.status != 200 {
            says_no_room(&named);
        }
    }

    /// Sends what was not acknowledged again; then everything is there once and whole.
    async fn resume(&self, address: &str, refused: &str) {
        for asked in [self.plant.event(refused, ROWS), self.plant.report(refused, ROWS)] {
            self.client.post_listed(&self.list, address, &asked).await.unwrap().id();
        }
        let proof = self.client.post(address, "/journal/verification", &json!({})).await;
        assert_eq!(proof.json()["sound"], true, "{}", proof.text);
        let events =
            self.client.get(address, &format!("/sites/{}/sampling-events?limit=500", self.plant.site)).await;
        let listed = self.list.read();
        assert!(listed.values().all(|line| line.answer.is_some()), "all of it was taken in the end");
        let events = events.json()["items"].as_array().unwrap().len();
        assert_eq!(events, listed.values().filter(|line| line.deed == "event").count());
    }
}

/// The service on a small disk of its own: a namespace in which one may mount without being root. The folder is seen from
/// outside below `/proc`.
async fn on_a_small_disk(scene: &Scene) -> Option<(Running, PathBuf)> {
    let disk = scene.folder.path().join("disk");
    std::fs::create_dir(&disk).unwrap();
    let mut tried = Command::new("unshare");
    tried.args(["-Urm", "mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs"]).arg(&disk);
    if !tried.output().await.is_ok_and(|tried| tried.status.success()) {
        println!("skipped: this machine lets nobody mount a small disk (unshare -Urm)");
        return None;
    }
    let url = fresh::address(&disk.join("registry.sqlite"));
    let mut command = Command::new("unshare");
    let script = "mount -t tmpfs -o size=12m tmpfs \"$1\" && cp \"$2\" \"$1\" && exec \"$3\" serve";
    command.args(["-Urm", "sh", "-c", script, "sh"]).arg(&disk).arg(scene.fresh.file().unwrap());
    command.arg(env!("CARGO_BIN_EXE_doseward")).env("DOSEWARD_LISTEN", "127.0.0.1:0");
    crate::running::settings(&mut command, &url);
    let running = Running::wait_for(command).await;
    let seen = PathBuf::from(format!("/proc/{}/root{}", running.id(), disk.display()));
    Some((running, seen))
}

/// Fills a disk to its last byte.
fn stuff(disk: &Path) -> PathBuf {
    let path = disk.join("filler");
    let mut filler = std::fs::File::create(&path).unwrap();
    for size in [1 << 16, 1 << 12, 1] {
        while filler.write_all(&vec![0; size]).is_ok() {}
    }
    path
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_full_disk_nothing_is_half_written_and_writing_resumes_by_itself() {
    let scene = scene().await;
    let Some((running, disk)) = on_a_small_disk(&scene).await else { return };
    for round in 0..3 {
        let filler = stuff(&disk);
        let (refused, taken) = scene.fill(&running.address, &format!("D{round}-")).await;
        println!("round {round}: {taken} imports were taken before the disk was full");
        scene.reads(&running.address).await;
        assert_eq!(running.health().await, Some(200));
        std::fs::remove_file(filler).unwrap();
        scene.resume(&running.address, &refused).await;
    }
}

/// The same with a bound on the size of a file, which needs no rights at all; room comes with the next start.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn at_a_bound_on_the_size_of_files_nothing_is_half_written() {
    let scene = scene().await;
    let mut command = Command::new("sh");
    // In units of 512 or 1024 bytes, as the shell likes it. Whoever is not told by a signal is told by an error.
    command.args([
        "-c",
        "trap '' XFSZ; ulimit -f 12000; exec \"$1\" serve",
        "sh",
        env!("CARGO_BIN_EXE_doseward"),
    ]);
    command.env("DOSEWARD_LISTEN", "127.0.0.1:0");
    crate::running::settings(&mut command, &scene.fresh.url);
    let mut running = Running::wait_for(command).await;
    let (refused, taken) = scene.fill(&running.address, "B").await;
    println!("{taken} imports were taken before the bound");
    scene.reads(&running.address).await;
    running.kill().await;
    let registry = scene.fresh.registry().await;
    is_sound(&registry).await;
    let found = found(&registry).await;
    assert!(found.events.values().chain(found.reports.values()).all(|rows| *rows == ROWS), "{found:?}");
    registry.database.close().await;
    let running = Running::wait_for(serve(&scene.fresh.url)).await;
    scene.resume(&running.address, &refused).await;
}
