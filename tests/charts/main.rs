//! The figures as a page to look at, made of what a running demonstration answers.
//!
//! ```sh
//! doseward demo --directory /tmp/demo &
//! DOSEWARD_DEMO=http://127.0.0.1:8470 DOSEWARD_DEMO_DIRECTORY=/tmp/demo DOSEWARD_CHARTS=/tmp/charts \
//!     cargo test --test charts -- --ignored
//! ```
//!
//! `DOSEWARD_CHARTS_STYLE` names a further style sheet: that of the pages.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod answers;
mod gallery;
mod page;

use answers::Answers;
use page::Page;
use std::path::PathBuf;

#[tokio::test]
#[ignore = "needs a running demonstration, and somebody to look at what it writes"]
async fn every_figure_of_the_demonstration() {
    let setting = |name: &str| std::env::var(name).unwrap_or_else(|_| panic!("{name} is not set"));
    let answers = Answers::of(&setting("DOSEWARD_DEMO"), &PathBuf::from(setting("DOSEWARD_DEMO_DIRECTORY")));
    let folder = PathBuf::from(setting("DOSEWARD_CHARTS"));
    std::fs::create_dir_all(&folder).unwrap();
    let style = std::env::var("DOSEWARD_CHARTS_STYLE")
        .map_or_else(|_| String::new(), |path| std::fs::read_to_string(path).unwrap());
    let names = gallery::names(&answers).await;
    for (name, title) in
        [("groups", "Groups"), ("controls", "Controls"), ("workers", "Workers"), ("sites", "All sites")]
    {
        let mut page = Page::new(title);
        match name {
            "groups" => gallery::groups(&answers, &names, &mut page).await,
            "controls" => gallery::controls(&answers, &names, &mut page).await,
            "workers" => gallery::workers(&answers, &names, &mut page).await,
            _ => gallery::sites(&answers, &names, &mut page).await,
        }
        assert!(page.figures() > 0, "{title} has no figure");
        std::fs::write(folder.join(format!("{name}.html")), page.html(&style)).unwrap();
    }
}
