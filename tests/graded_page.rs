//! `grade --report`: one page that says what the log says, by itself.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "other tests use the rest")]
mod program;
mod two_bends;

use program::Program;
use std::fs;

/// Everything between `<svg` and `</svg>`.
fn drawings(page: &str) -> Vec<&str> {
    page.split("<svg").skip(1).map(|rest| rest.split("</svg>").next().unwrap()).collect()
}

/// The texts of a drawing, as they are read.
fn texts(drawing: &str) -> Vec<&str> {
    drawing.split("<text").skip(1).filter_map(|rest| rest.split_once('>')?.1.split('<').next()).map(str::trim).collect()
}

/// All points of all curves.
fn points(drawing: &str) -> Vec<(f64, f64)> {
    let lists = drawing.split("points=\"").skip(1).map(|rest| rest.split('"').next().unwrap());
    let pair = |point: &str| point.split_once(',').map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap())).unwrap();
    lists.flat_map(|list| list.split(' ').map(pair)).collect()
}

#[test]
fn a_page_shows_the_curve_and_the_figures_of_each_bend_and_loads_nothing() {
    let program = Program::new();
    let take = two_bends::two_bends(program.folder());
    program.run(&["grade", take.to_str().unwrap(), "--report", "page.html"]).assert_succeeds();
    let page = fs::read_to_string(program.path("page.html")).unwrap();
    assert!(page.starts_with("<!doctype html>") && page.contains("<title>Bends of two_bends</title>"));
    let outside = page.replace("http://www.w3.org/2000/svg", "");
    for loads in ["http", "src=", "<script", "<link", "@import", "url("] {
        assert!(!outside.contains(loads), "the page holds {loads}");
    }
    let drawings = drawings(&page);
    assert_eq!(drawings.len(), 2);
    // The scenario: up a whole step and home again; the second time 20 cents flat.
    let second = texts(drawings[1]);
    assert!(second[0].starts_with("2. G4 to A4: short 20"), "{second:?}");
    let held = second.iter().find_map(|text| text.strip_prefix("Hold: ")?.strip_suffix(" c")).expect("the hold is written");
    assert!((held.parse::<f64>().unwrap() + 20.0).abs() < 0.5, "{held}");
    assert!(second.iter().any(|text| text.starts_with("flat: ")), "{second:?}");
    for word in ["attack", "push", "there", "let go", "home", "A4", "G4"] {
        assert!(second.contains(&word), "{word} is not written in {second:?}");
    }
    // Up the page is up in pitch: the top of the first curve is higher than that of the second by a tenth of the way.
    let rise = |drawing: &str| {
        let heights: Vec<f64> = points(drawing).iter().map(|(_, y)| *y).collect();
        assert!(heights.len() > 300, "{} points", heights.len());
        heights.iter().copied().fold(f64::MIN, f64::max) - heights.iter().copied().fold(f64::MAX, f64::min)
    };
    let (whole, flat) = (rise(drawings[0]), rise(drawings[1]));
    assert!((flat / whole - 0.9).abs() < 0.03, "{flat} of {whole}");
}

#[test]
fn a_page_replaces_a_page_and_nothing_else() {
    let program = Program::new();
    let take = two_bends::two_bends(program.folder());
    let take = take.to_str().unwrap();
    let other = program.write("other.html", "<!doctype html>\n<p>mine</p>\n");
    program.run(&["grade", take, "--report", "other.html"]).assert_fails_saying(&["other.html", "something else"]);
    assert_eq!(fs::read_to_string(other).unwrap(), "<!doctype html>\n<p>mine</p>\n");
    for _ in 0..2 {
        program.run(&["grade", take, "--report", "page.html"]).assert_succeeds();
    }
    let both = program.run(&["grade", take, "--report", "-", "--csv", "-"]);
    assert_eq!(both.status, Some(2), "{}", both.stderr);
    let page = program.run(&["grade", take, "--report", "-"]);
    page.assert_succeeds();
    assert_eq!(page.stdout, fs::read_to_string(program.path("page.html")).unwrap());
}
