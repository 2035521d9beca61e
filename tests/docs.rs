//! The documents are true: links lead somewhere, commands run, every dependency has its reason.

use std::{collections::BTreeSet, fs, path::PathBuf, process::Command};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap()
}

/// The lines of every fenced block of a language.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.trim() == format!("```{language}") {
            found.push(lines.by_ref().take_while(|line| line.trim() != "```").collect::<Vec<_>>().join("\n"));
        } else if line.starts_with("```") {
            lines.by_ref().find(|line| line.trim() == "```");
        }
    }
    found
}

/// Targets of Markdown links that lead into the repository.
fn local_links(text: &str) -> Vec<String> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter(|link| !link.contains("://") && !link.starts_with('#'))
        .map(|link| link.split('#').next().unwrap().to_owned())
        .collect()
}

/// First cells of the table under a heading, without their backticks.
pub fn first_column(text: &str, heading: &str) -> BTreeSet<String> {
    let section = text.split(&format!("\n{heading}\n")).nth(1).unwrap_or_else(|| panic!("no heading `{heading}`"));
    section
        .lines()
        .skip_while(|line| !line.starts_with('|'))
        .take_while(|line| line.starts_with('|'))
        .skip(2)
        .map(|line| line.split('|').nth(1).unwrap().trim().trim_matches('`').to_owned())
        .collect()
}

/// The README, for comparison with what really runs.
pub fn readme() -> String {
    read("README.md")
}

/// Names of the packages under every `dependencies` heading of the manifest.
fn dependencies(manifest: &str) -> BTreeSet<String> {
    let mut inside = false;
    let mut found = BTreeSet::new();
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line.trim_end_matches(']').ends_with("dependencies");
        } else if inside && let Some((name, _)) = line.split_once('=') {
            found.insert(name.trim().to_owned());
        }
    }
    found
}

#[test]
fn every_dependency_has_its_reason_and_every_reason_its_dependency() {
    let needed = dependencies(&read("Cargo.toml"));
    assert!(needed.contains("rumqttc") && needed.contains("syn"), "the manifest is not understood: {needed:?}");
    assert_eq!(needed, first_column(&read("DEVELOPERS.md"), "## Dependencies"));
}

#[test]
fn every_link_into_the_repository_leads_somewhere() {
    let mut count = 0;
    for document in ["README.md", "DEVELOPERS.md"] {
        for link in local_links(&read(document)) {
            assert!(root().join(&link).exists(), "{document} links to `{link}`, which is not there");
            count += 1;
        }
    }
    assert!(count > 0, "no link was found");
}

#[test]
fn every_file_that_the_documents_name_exists() {
    for document in ["README.md", "DEVELOPERS.md"] {
        let text = read(document);
        let named = text.split('`').skip(1).step_by(2).filter(|code| {
            ["tests/", "src/", "examples/", ".clippy.toml", "Cargo.toml"].iter().any(|start| code.starts_with(start))
        });
        for file in named.map(|code| code.split(' ').next().unwrap()) {
            assert!(root().join(file).exists(), "{document} names `{file}`, which is not there");
        }
    }
}

/// What a command line of the README is checked by.
fn runs(line: &str) {
    let words: Vec<&str> = line.split_whitespace().collect();
    match words.as_slice() {
        // Run as they stand on a fresh system by tests/boot/evening.sh, and the better checked for it.
        _ if of_the_evening(line) => {}
        ["cargo", "run", "--release", "--", rest @ ..] | ["mistwright", rest @ ..] => {
            // What stays running is asked for its help here and really run by the end-to-end tests.
            // So is what asks a daemon.
            let lasting = matches!(rest[0], "demo" | "run") || (rest[0] == "outlook" && !rest.contains(&"--config"));
            let mut command = Command::new(env!("CARGO_BIN_EXE_mistwright"));
            command.current_dir(root());
            if lasting {
                command.args([rest[0], "--help"])
            } else {
                command.args(shell_words(line, rest[0]))
            };
            let output = command.output().unwrap();
            let said = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.success(), "`{line}` failed: {said}");
            if lasting {
                let help = String::from_utf8_lossy(&output.stdout);
                for option in rest.iter().filter(|word| word.starts_with("--")) {
                    assert!(help.contains(option), "`{line}`: the help knows no `{option}`");
                }
            }
        }
        ["bash", script] => {
            let output = Command::new("bash").args(["-n", script]).current_dir(root()).output().unwrap();
            assert!(output.status.success(), "`{line}`: {}", String::from_utf8_lossy(&output.stderr));
        }
        ["mosquitto_sub" | "mosquitto_pub", ..] | ["cargo", "install", ..] | ["curl", ..] => {}
        _ => panic!("the README has a command that nothing checks: `{line}`"),
    }
}

/// The command lines of the README's first evening.
fn evening() -> Vec<String> {
    let readme = readme();
    let section = readme.split("\n## The first evening\n").nth(1).expect("the README has a first evening");
    let section = section.split("\n## ").next().unwrap();
    blocks(section, "sh").iter().flat_map(|block| block.lines().map(str::to_owned).collect::<Vec<_>>()).collect()
}

fn of_the_evening(line: &str) -> bool {
    evening().iter().any(|other| other == line)
}

#[test]
fn the_package_tells_people_only_commands_that_the_first_evening_runs() {
    // Said to root there, and by a person with sudo here.
    let ran: BTreeSet<String> = evening().iter().map(|line| line.replace("sudo ", "")).collect();
    let configuration = read("deploy/mistwright.yaml");
    let configuration = configuration.split("\n#site:").next().unwrap();
    let mut told: Vec<&str> = configuration.lines().filter_map(|line| line.strip_prefix("#     ")).collect();
    told.extend(configuration.split('`').skip(1).step_by(2).filter(|code| code.starts_with("mistwright")));
    let script = read("deploy/debian/postinst");
    let steps = script.lines().filter_map(|line| line.trim().strip_prefix(|first: char| first.is_ascii_digit()));
    told.extend(steps.filter_map(|step| step.strip_prefix(". ")?.split("  ").find(|part| part.contains("mistwright"))));
    assert!(told.len() >= 5, "{told:?}");
    for command in told {
        assert!(ran.contains(command), "`{command}` is not among {ran:?}");
    }
}

/// The words of a command line from `first` on, with double quotes understood.
fn shell_words(line: &str, first: &str) -> Vec<String> {
    let line = &line[line.find(first).unwrap()..];
    let mut words = Vec::new();
    for (index, part) in line.split('"').enumerate() {
        if index % 2 == 1 {
            words.push(part.to_owned());
        } else {
            words.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    words
}

#[test]
fn every_command_of_the_readme_runs() {
    let readme = readme();
    let lines: Vec<&str> = blocks(&readme, "sh")
        .iter()
        .flat_map(|block| block.lines().map(str::to_owned).collect::<Vec<_>>())
        .filter(|line| !line.is_empty() && !line.starts_with('#'))
        .map(|line| &*line.leak())
        .collect();
    assert!(lines.contains(&"cargo run --release -- demo") && lines.contains(&"bash tests/all.sh"), "{lines:?}");
    lines.into_iter().for_each(runs);
}

#[test]
fn the_first_configuration_of_the_readme_is_the_example_that_loads() {
    let readme = readme();
    let shown = blocks(&readme, "yaml");
    assert_eq!(shown.len(), 1, "the README shows one configuration");
    assert_eq!(shown[0].trim(), read("examples/one-room.yaml").trim());
}

#[test]
fn the_documents_are_read_as_they_are_written() {
    let text = "x\n## A\n\n| a | b |\n|---|---|\n| `c` | d |\n\n```sh\none\ntwo\n```\n```yaml\nk: v\n```\n[l](a/b.md#c) [m](https://e)";
    assert_eq!(first_column(text, "## A"), BTreeSet::from(["c".to_owned()]));
    assert_eq!(blocks(text, "sh"), ["one\ntwo"]);
    assert_eq!(blocks(text, "yaml"), ["k: v"]);
    assert_eq!(local_links(text), ["a/b.md"]);
    assert_eq!(
        dependencies("[package]\na = 1\n[dev-dependencies]\nb = 2\n[features]\nc = 3"),
        BTreeSet::from(["b".to_owned()])
    );
    assert_eq!(shell_words("mistwright air --t \"30 °F\" -j", "air"), ["air", "--t", "30 °F", "-j"]);
}

/// The README's table of topics, made from the tables that make the topics.
fn topics() -> String {
    use mistwright::{
        units::UnitSystem,
        wire::description::{Kind, Property, room_rows, site_rows},
    };
    let row = |device: &str, property: &Property| {
        let unit = match property.kind {
            Kind::Number(sample) => sample(UnitSystem::Metric).unit.to_owned(),
            Kind::Share => "%".to_owned(),
            Kind::Word(words) => words().iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", "),
            Kind::Text => "text".to_owned(),
            Kind::Moment => "time, UTC".to_owned(),
            Kind::Object | Kind::Form(_) => "JSON".to_owned(),
        };
        let name = if property.set.is_some() { format!("{} (settable)", property.name) } else { property.name.into() };
        format!("| `{device}/{}/{}` | {unit} | {name} |\n", property.node, property.id)
    };
    let site = site_rows().map(|(property, _)| row("<site>", property));
    let rooms = room_rows().map(|(property, _)| row("<site>-<room>", property));
    format!("| topic | unit or words | what it says |\n|---|---|---|\n{}", site.chain(rooms).collect::<String>())
}

#[test]
fn the_readme_lists_exactly_the_topics_and_metrics_of_the_program() {
    let readme = readme();
    for (what, table) in [("topics", topics()), ("metrics", mistwright::view::exposition::markdown())] {
        assert!(readme.contains(&table), "the README's table of {what} should be:\n{table}");
    }
}

#[test]
fn the_readme_lists_exactly_the_alerts_of_the_program() {
    use mistwright::advice::AlertKind;
    let kinds = AlertKind::OF_SITE.iter().chain(&AlertKind::OF_ROOM);
    let names: BTreeSet<String> = kinds.map(|kind| kind.name().to_owned()).collect();
    assert_eq!(first_column(&readme(), "### Alerts"), names);
}
