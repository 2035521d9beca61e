//! The accessibility checker axe-core, fetched from its registry by the ordinary client in one pinned version. It is
//! licensed MPL-2.0, is only run, and is never kept in the repository.

use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

use serde_json::Value;

use super::driver::{Browser, Screen};

const VERSION: &str = "4.14.1";
/// What the registry said of the version when it was chosen, and must say for ever.
const INTEGRITY: &str =
    "sha512-FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ==";

/// The checker's source, fetched once.
fn source() -> &'static str {
    static SOURCE: OnceLock<String> = OnceLock::new();
    SOURCE.get_or_init(|| {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("target/peers/axe-core-{VERSION}"));
        let file = folder.join("package/axe.min.js");
        if !file.is_file() {
            fetch(&folder);
        }
        fs::read_to_string(file).unwrap()
    })
}

fn fetch(folder: &PathBuf) {
    fs::create_dir_all(folder).unwrap();
    let packed = Command::new("npm")
        .args(["pack", "--json", &format!("axe-core@{VERSION}")])
        .current_dir(folder)
        .output()
        .expect("npm is needed by this test: install it, or run `bash tests/all.sh`");
    assert!(packed.status.success(), "{}", String::from_utf8_lossy(&packed.stderr));
    let told: Value = serde_json::from_slice(&packed.stdout).unwrap();
    // npm refuses an archive that does not have the integrity that it prints.
    assert_eq!(told[0]["integrity"], INTEGRITY, "the registry has another axe-core {VERSION}");
    let archive = told[0]["filename"].as_str().unwrap();
    let unpacked = Command::new("tar").args(["xzf", archive]).current_dir(folder).status().unwrap();
    assert!(unpacked.success());
}

/// What is wrong with the page for people who cannot see it well, or not at all: each rule broken, and where.
pub fn violations(browser: &Browser) -> Vec<String> {
    browser.run(source());
    let found = browser.run(
        "return axe.run(document, { resultTypes: ['violations'] }).then((result) => ({
            passed: result.passes.length,
            violations: result.violations.flatMap((rule) => rule.nodes.map((node) =>
                `${rule.id}: ${node.target.join(' ')}: ${node.failureSummary}`)),
        }))",
    );
    assert!(found["passed"].as_u64().unwrap() > 10, "the checker has checked next to nothing: {found}");
    found["violations"].as_array().unwrap().iter().map(|text| text.as_str().unwrap().to_owned()).collect()
}

/// Looks at the page through every screen: nothing is cut off or scrolls sideways, the checker finds nothing, and a
/// picture is kept of each.
pub fn inspect(browser: &Browser, name: &str, screens: &[Screen]) {
    for screen in screens {
        browser.through(*screen);
        browser.picture(&format!("{name}-{}", screen.name()));
        let wide = browser.run(
            "const all = document.documentElement; return [...document.querySelectorAll('body *')]
                .filter((each) => each.getBoundingClientRect().right > all.clientWidth + 0.5 && !each.closest('.skip, svg'))
                .map((each) => each.outerHTML.slice(0, 100)).concat(
                    all.scrollWidth > all.clientWidth ? [`scrolls to ${all.scrollWidth}`] : [])",
        );
        assert_eq!(wide, serde_json::json!([]), "{name} on {screen:?} is too wide");
        let violations = violations(browser);
        assert!(violations.is_empty(), "{name} on {screen:?}:\n{}", violations.join("\n"));
    }
}
