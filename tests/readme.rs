//! README and DEVELOPERS.md say what is so: commands that exist, folders that are there, in the words that the gate runs.

use clap::error::ErrorKind;
use landfall::cli::Cli;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The lines of all blocks between ``` marked `sh`.
fn shell_lines(text: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        match line.trim() {
            "```sh" => inside = true,
            "```" => inside = false,
            line if inside && !line.is_empty() => lines.push(line.to_owned()),
            _ => {}
        }
    }
    lines
}

/// The words of a command line without its comment; quotes hold words together.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = None::<String>;
    let mut quoted = false;
    for letter in line.split(" #").next().unwrap_or_default().chars() {
        match letter {
            '"' => {
                quoted = !quoted;
                word.get_or_insert_default();
            }
            ' ' if !quoted => words.extend(word.take()),
            letter => word.get_or_insert_default().push(letter),
        }
    }
    words.extend(word);
    words
}

/// Why the command line would be refused.
fn refused(line: &str) -> Option<String> {
    let words = words(line);
    let until_pipe = words.iter().take_while(|word| !matches!(word.as_str(), "|" | ">" | "&&"));
    match Cli::definition().try_get_matches_from(until_pipe) {
        Ok(_) => None,
        Err(error) if matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => None,
        Err(error) => Some(format!("{line}\n{error}")),
    }
}

#[test]
fn every_command_in_readme_is_one_that_landfall_takes() {
    let text = read("README.md");
    let lines: Vec<String> = shell_lines(&text).into_iter().filter(|line| line.starts_with("landfall")).collect();
    assert!(lines.len() >= 5, "README shows how landfall is used");
    let wrong: Vec<String> = lines.iter().filter_map(|line| refused(line)).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    // Commands and options named in running text: `landfall trace`, `--save off`.
    let named = text.split('`').skip(1).step_by(2).filter(|code| code.starts_with("landfall ") && !code.contains(['A', '[']));
    for code in named {
        let name = words(code).get(1).cloned().unwrap_or_default();
        let known = name.starts_with("--") || name == "COMMAND" || Cli::definition().find_subcommand(&name).is_some();
        assert!(known, "README names `{code}`");
    }
}

#[test]
fn examples_on_the_pages_of_help_are_commands_that_landfall_takes() {
    let mut wrong = Vec::new();
    for command in Cli::definition().get_subcommands() {
        let page = command.get_after_help().map(ToString::to_string).unwrap_or_default();
        let lines = page.lines().filter(|line| line.starts_with("  landfall "));
        // An explanation stands behind two blanks or more.
        let examples = lines.map(|line| line.trim().split("  ").next().unwrap_or_default().to_owned());
        wrong.extend(examples.filter_map(|line| refused(&line)));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_test_of_examples_can_say_no() {
    assert!(refused("landfall grade").is_some(), "a take is missing");
    assert!(refused("landfall drill --loud").is_some());
    assert!(refused("landfall grade --chord \"G m7\" solo.wav # a comment").is_none());
    assert_eq!(words("a \"b c\" d # e"), ["a", "b c", "d"]);
    assert_eq!(shell_lines("```sh\nx\n```\ny\n```toml\nz\n```\n"), ["x"]);
}

#[test]
fn the_two_first_commands_are_those_that_the_gate_runs() {
    let (readme, gate) = (read("README.md"), read(".ci/run"));
    for line in ["sh .ci/setup && cargo run --release -- demo", "sh .ci/setup && cargo test"] {
        assert!(shell_lines(&readme).iter().any(|shown| shown == line), "README does not show: {line}");
        assert!(gate.contains(line), "the gate does not run: {line}");
    }
}

#[test]
fn the_rust_version_that_readme_needs_is_the_promised_one() {
    let manifest = read("Cargo.toml");
    let promised = manifest.lines().find_map(|line| line.strip_prefix("rust-version = \"")).and_then(|rest| rest.strip_suffix('"'));
    assert!(
        promised.is_some_and(|version| read("README.md").contains(&format!("Rust {version}"))),
        "README does not name Rust {promised:?}"
    );
}

#[test]
fn the_guide_names_every_folder_and_nothing_that_is_not_there() {
    let guide = read("DEVELOPERS.md");
    for entry in fs::read_dir(root().join("src")).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() {
            assert!(guide.contains(&format!("`{name}`")), "DEVELOPERS.md does not name src/{name}");
        }
    }
    for text in [guide, read("README.md")] {
        let codes = text.split('`').skip(1).step_by(2).map(str::to_owned).collect::<Vec<_>>();
        let paths = codes
            .iter()
            .filter(|code| ["src/", "tests/", "test_signals/", ".ci/", "benches/"].iter().any(|folder| code.starts_with(folder)));
        for path in paths {
            assert!(Path::new(&root().join(path)).exists(), "{path} is named and is not there");
        }
    }
}

#[test]
fn the_page_shown_in_the_readme_is_the_one_that_is_drawn() {
    let snapshot = read("tests/snapshots/live_view__80x24_released_sharp.snap");
    let drawn = snapshot.splitn(3, "---\n").nth(2).expect("a snapshot has a head").trim_end();
    let readme = read("README.md");
    let shown = readme.split("```text\n").nth(1).and_then(|text| text.split("\n```").next()).expect("a picture of the page");
    assert_eq!(shown, drawn);
}
