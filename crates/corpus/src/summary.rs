//! Tables for people: a line a run, then counts.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::record::{Ending, Record};
use crate::trend::Trend;

/// The heading of [`line()`].
pub fn heading() -> String {
    format!(
        "{:<46} {:>7} {:<8} {:>5} {:>5} {:>5} {:>4} {:>3} {:>6} {:>7} {}\n",
        "run", "tris", "ending", "asked", "got", "poles", "need", "spi", "jac", "cpu s", "what"
    )
}

/// A run in one line.
pub fn line(r: &Record) -> String {
    let what = match r.ending {
        Ending::Ready => String::new(),
        Ending::Sound => r.failing.join(" "),
        _ => format!("{}: {}", r.stage, r.text),
    };
    format!(
        "{:<46} {:>7} {:<8} {:>5} {:>5} {:>5} {:>4} {:>3} {:>6.2} {:>7.2} {}\n",
        r.id(),
        r.triangles,
        r.ending.name(),
        r.faces_asked,
        r.faces,
        r.poles,
        r.pole_need,
        r.spirals,
        r.jacobian,
        r.cpu,
        what
    )
}

/// A refusal without its numbers and names, for grouping.
pub fn kind_of(text: &str) -> String {
    let mut kind = String::new();
    let mut in_quotes = false;
    let mut in_number = false;
    for c in text.chars() {
        if c == '"' {
            in_quotes = !in_quotes;
            kind.push_str(if in_quotes { "\"…" } else { "\"" });
        } else if !in_quotes {
            let number = c.is_ascii_digit() || (in_number && matches!(c, '.' | 'e' | '-' | ','));
            if !number {
                kind.push(c);
            } else if !in_number {
                kind.push('#');
            }
            in_number = number;
        }
    }
    kind
}

/// Runs by ending, a line for each value of `key`.
fn by(records: &[Record], title: &str, key: impl Fn(&Record) -> String) -> String {
    let mut groups: BTreeMap<String, BTreeMap<Ending, usize>> = BTreeMap::new();
    for r in records {
        *groups
            .entry(key(r))
            .or_default()
            .entry(r.ending)
            .or_default() += 1;
    }
    let mut out = format!("\n{title:<28} {:>5} {:>9}", "runs", "success");
    for ending in Ending::ALL {
        let _ = write!(out, " {:>8}", ending.name());
    }
    out.push('\n');
    for (name, endings) in groups {
        let all: usize = endings.values().sum();
        let good: usize = endings
            .iter()
            .filter(|(e, _)| e.is_success())
            .map(|(_, n)| n)
            .sum();
        let share = 100.0 * good as f64 / all as f64;
        let _ = write!(out, "{name:<28} {all:>5} {share:>7.1} %");
        for ending in Ending::ALL {
            let _ = write!(out, " {:>8}", endings.get(&ending).unwrap_or(&0));
        }
        out.push('\n');
    }
    out
}

/// What went wrong, most frequent first, with the first runs of each kind.
fn grouped(records: &[Record], wanted: impl Fn(&Record) -> bool) -> String {
    let mut groups: BTreeMap<String, Vec<&Record>> = BTreeMap::new();
    for r in records.iter().filter(|r| wanted(r)) {
        let kind = format!("{} in {}: {}", r.ending.name(), r.stage, kind_of(&r.text));
        groups.entry(kind).or_default().push(r);
    }
    let mut sorted: Vec<(String, Vec<&Record>)> = groups.into_iter().collect();
    sorted.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then_with(|| a.0.cmp(&b.0)));
    let mut out = String::new();
    for (kind, runs) in sorted {
        let clean = runs.iter().filter(|r| r.is_clean()).count();
        let _ = writeln!(out, "{:>4} ({clean} clean)  {kind}", runs.len());
        for r in runs.iter().take(4) {
            let _ = writeln!(out, "        --only {}", r.id());
        }
    }
    out
}

/// Checks that fail on sound surfaces, most frequent first.
fn failing(records: &[Record]) -> String {
    let mut codes: BTreeMap<&str, Vec<&Record>> = BTreeMap::new();
    for r in records.iter().filter(|r| r.ending == Ending::Sound) {
        for code in &r.failing {
            codes.entry(code).or_default().push(r);
        }
    }
    let mut sorted: Vec<(&str, Vec<&Record>)> = codes.into_iter().collect();
    sorted.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then_with(|| a.0.cmp(b.0)));
    let mut out = String::new();
    for (code, runs) in sorted {
        let some: Vec<String> = runs.iter().take(3).map(|r| r.id()).collect();
        let _ = writeln!(out, "{:>4}  {code:<28} {}", runs.len(), some.join("  "));
    }
    out
}

/// The summary of all runs.
pub fn text(records: &[Record]) -> String {
    let mut out = by(records, "all", |_| "all".to_owned());
    out += &by(records, "input", |r| {
        if r.is_clean() {
            "clean"
        } else {
            "with defects, or unknown"
        }
        .to_owned()
    });
    out += &by(records, "class", |r| r.class.clone());
    out += &by(records, "guides", |r| r.guides.clone());
    out += &by(records, "class, guides", |r| {
        format!("{}, {}", r.class, r.guides)
    });
    out += &by(records, "faces asked", |r| format!("{:>5}", r.faces_asked));
    out += &by(records, "defects", |r| match r.defects.as_slice() {
        [] => "-".to_owned(),
        [one] => one.clone(),
        _ => "several".to_owned(),
    });
    out += "\nmust never happen\n";
    out += &grouped(records, |r| r.ending.is_fault());
    out += "\nrefusals\n";
    out += &grouped(records, |r| r.ending == Ending::Refused);
    out += "\nfailing checks of sound surfaces\n";
    out += &failing(records);
    out += "\nfar above the trend of processor time\n";
    if let Some(trend) = Trend::fit(records) {
        let _ = writeln!(
            out,
            "(trend: {:.3e} s a triangle and doubling, {:.3e} s a face and doubling)",
            trend.a, trend.b
        );
        let mut slow: Vec<&Record> = records.iter().filter(|r| trend.is_slow(r)).collect();
        slow.sort_by(|a, b| b.cpu.total_cmp(&a.cpu));
        for r in slow {
            let times = r.cpu / trend.expected(r);
            let _ = writeln!(out, "{:>7.1} s {times:>6.1} x  {}", r.cpu, r.id());
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refusals_of_a_kind_are_one_group() {
        let one = kind_of("guide \"left cuff\" is 1.25 long, too short for quads of 3.1e-2; more");
        let two = kind_of("guide \"x\" is 0.5 long, too short for quads of 7; more");
        assert_eq!(one, two);
        assert_eq!(one, "guide \"…\" is # long, too short for quads of #; more");
    }
}
