//! Reading a chart file: fields, parts, form.

use super::error::{ChartError, ChartFault, Spot};
use super::{Chart, Feel, Metre, Part, bars};
use crate::theory::Key;
use crate::theory::words::{did_you_mean, quotable};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The most bars that a tune may unfold to: an evening of music.
const MOST_BARS: usize = 20_000;

/// What may stand in a part; the top has `title`, `form` and `part` besides.
const PART_FIELDS: [&str; 6] = ["key", "metre", "tempo", "feel", "groups", "bars"];
const TOP_FIELDS: [&str; 9] = ["title", "key", "metre", "tempo", "feel", "groups", "bars", "form", "part"];

pub(super) fn read(file: &str, text: &str) -> Result<Chart, ChartError> {
    Reader { file, text }.chart()
}

struct Reader<'a> {
    file: &'a str,
    text: &'a str,
}

/// A value and the byte it begins at.
#[derive(Clone)]
struct Found<T> {
    value: T,
    at: usize,
}

#[derive(Clone, Default)]
struct Fields {
    key: Option<Found<Key>>,
    metre: Option<Found<String>>,
    groups: Option<Found<String>>,
    tempo: Option<Found<f64>>,
    feel: Option<Feel>,
    bars: Option<Found<String>>,
}

impl Reader<'_> {
    fn error(&self, part: Option<&str>, bar: Option<usize>, at: Option<usize>, fault: ChartFault) -> ChartError {
        let line = at.map(|at| self.line(at));
        let spot = Spot { part: part.map(quotable), bar, line };
        ChartError { file: self.file.to_string(), spot, fault: Box::new(fault) }
    }

    fn line(&self, at: usize) -> usize {
        self.text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count() + 1
    }

    fn chart(&self) -> Result<Chart, ChartError> {
        let document = DeTable::parse(self.text).map_err(|error| {
            let message = error.message().split_whitespace().collect::<Vec<_>>().join(" ");
            let at = error.span().map_or(0, |span| span.start);
            self.error(None, None, Some(at), ChartFault::Toml { message: format!("this is not TOML: {message}") })
        })?;
        let mut top = Fields::default();
        let (mut title, mut form, mut parts) = (None, None, Vec::new());
        for (name, value) in document.get_ref() {
            match name.get_ref().as_ref() {
                "title" => title = Some(self.string("title", value, "a line of text")?.value),
                "form" => form = Some(self.form(value)?),
                "part" => parts = self.parts(value)?,
                field => self.field(&mut top, None, field, name.span().start, value, &TOP_FIELDS)?,
            }
        }
        let (parts, form) = match (top.bars.is_some(), parts.is_empty()) {
            (true, false) => return Err(self.error(None, None, top.bars.map(|bars| bars.at), ChartFault::BarsAndParts)),
            (false, true) => return Err(self.error(None, None, None, ChartFault::Missing { field: "bars" })),
            (true, true) => {
                if let Some(form) = form {
                    return Err(self.error(
                        None,
                        None,
                        Some(form.at),
                        self.no_such_part(form.value.first().map_or("", String::as_str), &[]),
                    ));
                }
                (vec![self.part(None, &Fields::default(), &top)?], vec![0])
            }
            (false, false) => self.in_form(&top, &parts, form)?,
        };
        let chart = Chart { title, parts, form };
        let unfolded: usize = chart.form.iter().map(|part| chart.parts[*part].unfolded().len()).sum();
        if unfolded > MOST_BARS {
            return Err(self.error(None, None, None, ChartFault::TooLong { most: MOST_BARS }));
        }
        Ok(chart)
    }

    fn in_form(
        &self,
        top: &Fields,
        parts: &[(String, Fields)],
        form: Option<Found<Vec<String>>>,
    ) -> Result<(Vec<Part>, Vec<usize>), ChartError> {
        let Some(form) = form.filter(|form| !form.value.is_empty()) else {
            return Err(self.error(None, None, None, ChartFault::NoForm));
        };
        let mut order: Vec<&str> = Vec::new();
        let names: Vec<&str> = parts.iter().map(|(name, _)| name.as_str()).collect();
        for name in &form.value {
            if !names.contains(&name.as_str()) {
                return Err(self.error(None, None, Some(form.at), self.no_such_part(name, &names)));
            }
            if !order.contains(&name.as_str()) {
                order.push(name);
            }
        }
        let unplayed: Vec<&str> = names.iter().copied().filter(|name| !order.contains(name)).collect();
        order.extend(unplayed);
        let mut read = Vec::with_capacity(order.len());
        for name in &order {
            if let Some((_, fields)) = parts.iter().find(|(known, _)| known == name) {
                read.push(self.part(Some(name), top, fields)?);
            }
        }
        let form = form.value.iter().filter_map(|name| order.iter().position(|known| known == name)).collect();
        Ok((read, form))
    }

    #[expect(clippy::unused_self, reason = "read beside its callers")]
    fn no_such_part(&self, found: &str, names: &[&str]) -> ChartFault {
        let hint = match did_you_mean(found, names.iter().copied()) {
            hint if hint.is_empty() => {
                format!("; write its bars under [part.{}]", if found.is_empty() { "A".to_string() } else { quotable(found) })
            }
            hint => hint,
        };
        ChartFault::NoSuchPart { found: quotable(found), hint }
    }

    /// A part from its own fields and those at the top.
    fn part(&self, name: Option<&str>, top: &Fields, own: &Fields) -> Result<Part, ChartError> {
        let missing = |field| self.error(name, None, None, ChartFault::Missing { field });
        let bars = own.bars.as_ref().ok_or_else(|| missing("bars"))?;
        let key = own.key.as_ref().or(top.key.as_ref()).ok_or_else(|| missing("key"))?.value;
        let metre = own.metre.as_ref().or(top.metre.as_ref()).ok_or_else(|| missing("metre"))?;
        let tempo = own.tempo.as_ref().or(top.tempo.as_ref()).ok_or_else(|| missing("tempo"))?.value;
        // Groups belong to a metre: those at the top do not hold for a part in another one.
        let groups = own.groups.as_ref().or(if own.metre.is_none() { top.groups.as_ref() } else { None });
        let metre = Metre::parse(&metre.value, groups.map(|groups| groups.value.as_str())).map_err(|fault| {
            let at = if matches!(fault, ChartFault::Groups { .. }) { groups.map_or(metre.at, |groups| groups.at) } else { metre.at };
            self.error(name, None, Some(at), fault)
        })?;
        let feel = own.feel.clone().or_else(|| top.feel.clone()).unwrap_or_default();
        let first = self.first_line_of(bars.at);
        let bars = bars::read(&bars.value, &metre, first)
            .map_err(|(bar, line, fault)| ChartError {
                file: self.file.to_string(),
                spot: Spot { part: name.map(quotable), bar, line: first.zip(line).map(|(first, line)| first + line) },
                fault: Box::new(fault),
            })?
            .into_iter()
            .map(|bar| bars::Bar { line: first.unwrap_or(0) + bar.line, ..bar })
            .collect();
        Ok(Part { name: name.map(str::to_string), key, metre, tempo, feel, bars })
    }

    /// The line of the file in which the text of a string begins; `None` where escapes hide the lines.
    fn first_line_of(&self, at: usize) -> Option<usize> {
        let raw = self.text.get(at..)?;
        let multiline = raw.starts_with("\"\"\"") || raw.starts_with("'''");
        let begins_below = raw.get(3..).is_some_and(|rest| rest.starts_with('\n') || rest.starts_with("\r\n"));
        Some(self.line(at) + usize::from(multiline && begins_below))
    }

    fn field(
        &self,
        fields: &mut Fields,
        part: Option<&str>,
        name: &str,
        at: usize,
        value: &Spanned<DeValue<'_>>,
        known: &[&'static str],
    ) -> Result<(), ChartError> {
        let here = value.span().start;
        let fault = |fault| self.error(part, None, Some(here), fault);
        match name {
            "key" => {
                let text = self.string("key", value, "a text such as \"D minor\"")?;
                let key = text.value.parse().map_err(|error| fault(ChartFault::Word(error)))?;
                fields.key = Some(Found { value: key, at: here });
            }
            "metre" => fields.metre = Some(self.string("metre", value, "a text such as \"12/8\"")?),
            "groups" => fields.groups = Some(self.string("groups", value, "a text such as \"2+2+3\"")?),
            "feel" => fields.feel = Some(Feel::parse(&self.string("feel", value, "a text such as \"shuffle\"")?.value).map_err(fault)?),
            "bars" => fields.bars = Some(self.string("bars", value, "a text such as \"| Dm | Gm7 / C7 / |\"")?),
            "tempo" => {
                let number = match value.get_ref() {
                    DeValue::Integer(number) if number.radix() == 10 => number.as_str().replace('_', "").parse::<f64>().ok(),
                    DeValue::Float(number) => number.as_str().replace('_', "").parse::<f64>().ok(),
                    other => {
                        let found = kind(other);
                        return Err(fault(ChartFault::WrongType {
                            field: "tempo",
                            found,
                            wanted: "a number of beats a minute such as 58",
                        }));
                    }
                };
                let written = self.text.get(value.span()).map(quotable).unwrap_or_default();
                let tempo = number.filter(|tempo| (10.0..=1000.0).contains(tempo)).ok_or(ChartFault::Tempo { found: written });
                fields.tempo = Some(Found { value: tempo.map_err(fault)?, at: here });
            }
            other => {
                let hint = match did_you_mean(other, known.iter().copied()) {
                    hint if hint.is_empty() => format!("; there are {}", known.join(", ")),
                    hint => hint,
                };
                return Err(self.error(part, None, Some(at), ChartFault::UnknownField { found: quotable(other), hint }));
            }
        }
        Ok(())
    }

    fn string(&self, field: &'static str, value: &Spanned<DeValue<'_>>, wanted: &'static str) -> Result<Found<String>, ChartError> {
        let at = value.span().start;
        match value.get_ref() {
            DeValue::String(text) => Ok(Found { value: text.to_string(), at }),
            other => Err(self.error(None, None, Some(at), ChartFault::WrongType { field, found: kind(other), wanted })),
        }
    }

    fn form(&self, value: &Spanned<DeValue<'_>>) -> Result<Found<Vec<String>>, ChartError> {
        let at = value.span().start;
        let wanted = "a list of parts such as [\"A\", \"A\", \"B\"]";
        let DeValue::Array(items) = value.get_ref() else {
            return Err(self.error(None, None, Some(at), ChartFault::WrongType { field: "form", found: kind(value.get_ref()), wanted }));
        };
        let names: Result<Vec<String>, ChartError> = items.iter().map(|item| Ok(self.string("form", item, wanted)?.value)).collect();
        Ok(Found { value: names?, at })
    }

    fn parts(&self, value: &Spanned<DeValue<'_>>) -> Result<Vec<(String, Fields)>, ChartError> {
        let wrong = |value: &Spanned<DeValue<'_>>| {
            let wanted = "a table for each part: [part.A]";
            self.error(None, None, Some(value.span().start), ChartFault::WrongType { field: "part", found: kind(value.get_ref()), wanted })
        };
        let DeValue::Table(tables) = value.get_ref() else { return Err(wrong(value)) };
        let mut parts = Vec::new();
        for (name, table) in tables {
            let DeValue::Table(entries) = table.get_ref() else { return Err(wrong(table)) };
            let mut fields = Fields::default();
            for (field, value) in entries {
                self.field(&mut fields, Some(name.get_ref()), field.get_ref(), field.span().start, value, &PART_FIELDS)?;
            }
            parts.push((name.get_ref().to_string(), fields));
        }
        Ok(parts)
    }
}

fn kind(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
    .to_string()
}
