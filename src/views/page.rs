//! Pages to print: SVG with real text, black on white.
//!
//! Text goes through the `svg` crate, which escapes it; here only the characters that XML cannot hold are taken out.

use super::neck::{Board, Kind, Mark};
use crate::theory::Place;
use svg::Document;
use svg::node::element::{Circle, Description, Group, Line, Polyline, Rectangle, Text, Title};

/// Width of a page in its own units; it scales to any size.
pub const WIDTH: f64 = 1000.0;
const MARGIN: f64 = 30.0;
const LABEL: f64 = 46.0;
const OPEN: f64 = 40.0;
const STRING_GAP: f64 = 26.0;
const FONT: &str = "Helvetica, Arial, sans-serif";

/// A page that grows downwards.
pub struct Page {
    title: String,
    description: String,
    body: Group,
    height: f64,
}

impl Page {
    /// A page with a heading; title and description are what a screen reader says.
    #[must_use]
    pub fn new(title: &str, description: &str) -> Self {
        let mut page = Self { title: clean(title), description: clean(description), body: Group::new(), height: MARGIN };
        page.line(title, 24.0, true);
        page
    }

    /// One line of text.
    pub fn line(&mut self, text: &str, size: f64, bold: bool) {
        self.height += size * 1.3;
        self.put(&[(MARGIN, text)], self.height, size, bold);
    }

    /// One line of text in columns at the given places.
    pub fn columns(&mut self, cells: &[(f64, &str)], size: f64, bold: bool) {
        self.height += size * 1.35;
        self.put(cells, self.height, size, bold);
    }

    /// One line of a table, in letters of one width.
    pub fn fixed(&mut self, text: &str, size: f64) {
        self.height += size * 1.35;
        let line = label(text, MARGIN, self.height, size, "start", false);
        // Blanks at the beginning count here.
        let line = line.set("font-family", "Menlo, Consolas, monospace").set("xml:space", "preserve");
        self.body = std::mem::replace(&mut self.body, Group::new()).add(line);
    }

    /// Room.
    pub fn space(&mut self, height: f64) {
        self.height += height;
    }

    /// How far down the page goes.
    #[must_use]
    pub fn height(&self) -> f64 {
        self.height
    }

    fn put(&mut self, cells: &[(f64, &str)], y: f64, size: f64, bold: bool) {
        let mut body = std::mem::replace(&mut self.body, Group::new());
        for (x, text) in cells {
            body = body.add(label(text, *x, y, size, "start", bold));
        }
        self.body = body;
    }

    /// Text at a place of its own.
    pub fn text_at(&mut self, text: &str, x: f64, y: f64, size: f64, bold: bool) {
        self.put(&[(x, text)], y, size, bold);
    }

    /// A straight line.
    pub fn rule(&mut self, from: (f64, f64), to: (f64, f64), width: f64) {
        self.body = std::mem::replace(&mut self.body, Group::new()).add(stroke(from, to, width));
    }

    /// A straight line of dashes.
    pub fn dashes(&mut self, from: (f64, f64), to: (f64, f64), width: f64) {
        self.body = std::mem::replace(&mut self.body, Group::new()).add(stroke(from, to, width).set("stroke-dasharray", "9 5"));
    }

    /// A straight line of dots.
    pub fn dots(&mut self, from: (f64, f64), to: (f64, f64), width: f64) {
        self.body = std::mem::replace(&mut self.body, Group::new()).add(stroke(from, to, width).set("stroke-dasharray", "1.5 3"));
    }

    /// A line through all points.
    pub fn curve(&mut self, points: &[(f64, f64)], width: f64) {
        let points: Vec<String> = points.iter().map(|(x, y)| format!("{},{}", round(*x), round(*y))).collect();
        let line = Polyline::new().set("points", points.join(" ")).set("fill", "none").set("stroke", "black");
        let line = line.set("stroke-width", width).set("stroke-linejoin", "round");
        self.body = std::mem::replace(&mut self.body, Group::new()).add(line);
    }

    /// A grey ground between two corners, light enough to write on.
    pub fn shade(&mut self, from: (f64, f64), to: (f64, f64)) {
        let ground = Rectangle::new().set("x", round(from.0)).set("y", round(from.1));
        let ground = ground.set("width", round(to.0 - from.0)).set("height", round(to.1 - from.1)).set("fill", "#ddd");
        self.body = std::mem::replace(&mut self.body, Group::new()).add(ground);
    }

    /// A neck, drawn to scale.
    pub fn board(&mut self, board: &Board) {
        if !board.caption.is_empty() {
            self.line(&board.caption, 15.0, true);
        }
        self.height += 40.0;
        let drawing = Drawing::new(board, self.height);
        self.height = drawing.bottom() + 26.0;
        self.body = std::mem::replace(&mut self.body, Group::new()).add(drawing.group());
    }

    /// The file.
    #[must_use]
    pub fn finish(self) -> String {
        let height = (self.height + MARGIN).ceil();
        let paper = Rectangle::new().set("width", WIDTH).set("height", height).set("fill", "white");
        let document = Document::new()
            .set("viewBox", (0, 0, WIDTH, height))
            .set("width", "100%")
            .set("role", "img")
            .set("font-family", FONT)
            .add(Title::new(self.title))
            .add(Description::new().add(svg::node::Text::new(self.description)))
            .add(paper)
            .add(self.body);
        format!("{document}\n")
    }
}

/// Text without what XML cannot hold.
fn clean(text: &str) -> String {
    text.chars().filter(|c| !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}')).collect()
}

fn label(text: &str, x: f64, y: f64, size: f64, anchor: &str, bold: bool) -> Text {
    // Words stand apart by several blanks, which XML would fold into one: those that count do not break.
    let blanks = if text.contains("  ") && !text.starts_with(' ') { "\u{a0}" } else { " " };
    let text =
        Text::new(clean(text).replace(' ', blanks)).set("x", round(x)).set("y", round(y)).set("font-size", size).set("text-anchor", anchor);
    if bold { text.set("font-weight", "bold") } else { text }
}

fn stroke(from: (f64, f64), to: (f64, f64), width: f64) -> Line {
    let line = Line::new().set("x1", round(from.0)).set("y1", round(from.1)).set("x2", round(to.0)).set("y2", round(to.1));
    line.set("stroke", "black").set("stroke-width", width)
}

/// Two decimals: enough for print, and the same on every machine.
fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

struct Drawing<'a> {
    board: &'a Board,
    top: f64,
}

impl<'a> Drawing<'a> {
    fn new(board: &'a Board, top: f64) -> Self {
        Self { board, top }
    }

    fn bottom(&self) -> f64 {
        self.top + STRING_GAP * (self.board.strings.len().max(1) - 1) as f64
    }

    fn mirrored(&self, x: f64) -> f64 {
        if self.board.left_handed { WIDTH - x } else { x }
    }

    /// Where a fret's wire is; `begin` is the wire before the first fret drawn.
    fn wire(&self, fret: u8) -> f64 {
        let along = |fret: u8| 1.0 - (-f64::from(fret) / 12.0).exp2();
        let begin = self.board.first.saturating_sub(1);
        let whole = along(self.board.last) - along(begin);
        let left = MARGIN + LABEL + if self.board.first == 0 { OPEN } else { 0.0 };
        self.mirrored(left + (WIDTH - MARGIN - left) * (along(fret) - along(begin)) / whole)
    }

    fn finger(&self, place: Place) -> Option<(f64, f64)> {
        let row = self.board.strings.iter().position(|(string, _)| *string == place.string)?;
        if !(self.board.first..=self.board.last).contains(&place.fret) {
            return None;
        }
        let x = match place.fret {
            0 => self.mirrored(MARGIN + LABEL + OPEN / 2.0 - 2.0),
            fret => {
                let (behind, wire) = (self.wire(fret - 1), self.wire(fret));
                let near = (wire - behind).abs().min(30.0) / 2.0;
                if self.board.left_handed { wire + near } else { wire - near }
            }
        };
        Some((x, self.top + STRING_GAP * row as f64))
    }

    fn group(&self) -> Group {
        let mut group = Group::new();
        let bottom = self.bottom();
        let (near, far) = (self.wire(self.board.first.saturating_sub(1)), self.wire(self.board.last));
        for (row, (string, note)) in self.board.strings.iter().enumerate() {
            let y = self.top + STRING_GAP * row as f64;
            group = group.add(stroke((near, y), (far, y), 0.7 + 0.22 * f64::from(*string)));
            let anchor = if self.board.left_handed { "end" } else { "start" };
            group = group.add(label(&format!("{string} {note}"), self.mirrored(MARGIN), y + 4.5, 13.0, anchor, false));
        }
        for fret in self.board.first.saturating_sub(1)..=self.board.last {
            let x = self.wire(fret);
            let nut = fret == 0 && self.board.first == 0;
            group = group.add(stroke((x, self.top), (x, bottom), if nut { 5.0 } else { 1.0 }));
        }
        for fret in self.board.first..=self.board.last {
            let x = self.finger(Place { string: self.board.strings.first().map_or(1, |(string, _)| *string), fret });
            let bold = matches!(fret, 3 | 5 | 7 | 9 | 12 | 15 | 17 | 19 | 21 | 24);
            if let Some((x, _)) = x {
                group = group.add(label(&fret.to_string(), x, self.top - 16.0, 11.0, "middle", bold));
            }
        }
        for shape in &self.board.shapes {
            let points: Option<Vec<(f64, f64)>> = shape.iter().map(|place| self.finger(*place)).collect();
            if let Some(points) = points {
                let points: Vec<String> = points.iter().map(|(x, y)| format!("{},{}", round(*x), round(*y))).collect();
                let line = Polyline::new().set("points", points.join(" ")).set("fill", "none").set("stroke", "black");
                group = group.add(line.set("stroke-width", 4).set("stroke-opacity", 0.35));
            }
        }
        for mark in &self.board.marks {
            if let Some(at) = self.finger(mark.place) {
                group = self.mark(group, mark, at);
            }
        }
        group
    }

    /// Half as wide as the fret at most, so that marks of neighbouring frets stay apart.
    fn radius(&self, fret: u8) -> f64 {
        let width = fret.checked_sub(1).map_or(OPEN, |behind| (self.wire(fret) - self.wire(behind)).abs());
        (width * 0.5 - 0.5).clamp(7.5, 12.0)
    }

    /// The root in a box, chord tones in a circle, scale notes bare, bends in a dashed circle.
    fn mark(&self, group: Group, mark: &Mark, (x, y): (f64, f64)) -> Group {
        let radius = self.radius(mark.place.fret);
        let size = radius * [1.15, 1.15, 1.15, 0.88, 0.7][mark.text.chars().count().min(4)];
        let words = label(&mark.text, x, y + size * 0.36, size, "middle", mark.kind != Kind::Passing);
        match mark.kind {
            Kind::Root => {
                let square = Rectangle::new().set("x", round(x - radius)).set("y", round(y - radius));
                let square = square.set("width", round(2.0 * radius)).set("height", round(2.0 * radius));
                group.add(square.set("fill", "white").set("stroke", "black").set("stroke-width", 2.5)).add(words)
            }
            Kind::Tone => group.add(disc(x, y, radius).set("stroke-width", 1.2)).add(words),
            Kind::Bend => group.add(disc(x, y, radius).set("stroke-width", 1.2).set("stroke-dasharray", "3 2")).add(words),
            Kind::Passing => group.add(disc(x, y, radius * 0.7).set("stroke", "none")).add(words),
        }
    }
}

fn disc(x: f64, y: f64, radius: f64) -> Circle {
    Circle::new().set("cx", round(x)).set("cy", round(y)).set("r", round(radius)).set("fill", "white").set("stroke", "black")
}
