//! The generated part of the page.

use std::fmt::Write as _;

use engine::check::{GuideMeasures, Measures};

use super::{Figures, Row, SETS, choices, picture_name};
use crate::cases::{Case, Given};

/// What is asked of guides and not there.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Missing {
    /// Closed guides without a cycle, and openings along which the surface doesn't end.
    cycles: usize,
    /// Closed guides with another number of edges than promised.
    counts: usize,
}

impl Missing {
    fn of(measures: &Measures, case: &Case, given: Given) -> Self {
        let mut missing = Self::default();
        for (asked, found) in given.of(&case.guides).iter().zip(&measures.guides) {
            let opens = asked.kind == engine::model::GuideKind::Opening;
            let no_cycle = asked.closed && found.cycle_length.is_none();
            missing.cycles += usize::from(no_cycle || opens && !found.on_boundary);
            let promised = found.count.map(|n| n as usize);
            let off = found.cycle_length.is_some() && found.cycle_length != promised;
            missing.counts += usize::from(asked.closed && promised.is_some() && off);
        }
        missing
    }
}

/// Greatest of a guide's measure, if there are guides.
fn worst(measures: &Measures, of: impl Fn(&GuideMeasures) -> f64) -> Option<f64> {
    measures.guides.iter().map(of).reduce(f64::max)
}

fn cell(value: Option<f64>, digits: usize) -> String {
    value.map_or("–".to_owned(), |v| format!("{v:.digits$}"))
}

/// Everything between the page's marks. `commit`: words for what was measured; `folder`: where the
/// pictures are, as seen from the page.
pub fn text(rows: &[Row], cases: &[Case], faces: usize, commit: &str, folder: &str) -> String {
    let mut out = format!(
        "Figures of this part: `cargo run -p loopwright-corpus -- study --out docs`, {faces} faces \
         asked for, at {commit}. Everything up to the closing mark is replaced by the next run.\n\n"
    );
    sculpts(&mut out, cases);
    measures(&mut out, rows, cases);
    pictures(&mut out, rows, cases, folder);
    ways(&mut out, rows, cases);
    by_sculpt(&mut out, rows, cases);
    out
}

fn sculpts(out: &mut String, cases: &[Case]) {
    *out += "### Sculpts\n\n| sculpt | triangles | guides, with the edges promised |\n| --- | --: | --- |\n";
    for case in cases {
        let guide = |g: &engine::model::Guide| match g.count {
            Some(count) => format!("{} ({count})", g.name),
            None => g.name.clone(),
        };
        let names: Vec<String> = case.guides.iter().map(guide).collect();
        let _ = writeln!(
            out,
            "| {} | {} | {} |",
            case.name,
            case.triangles.len(),
            names.join(", ")
        );
    }
}

fn measures(out: &mut String, rows: &[Row], cases: &[Case]) {
    *out += "\n### Measures\n\n\
        *None*, *few* (openings and the first ring) and *full* guides. Poles: inner vertices without \
        four edges, over the fewest that topology and the boundary's corners ask for. Guide distance \
        (mean edges) and angle (degrees): 95th percentiles of the guide that is followed worst. Missing: \
        closed guides without a cycle of edges, and cycles without the promised number of edges. RMS: \
        from sculpt to surface, over that of the sculpt decimated to as many vertices, in sweeps and \
        cheapest edge first. J: scaled Jacobian. Cuts: pairs of triangles that pass through each other. \
        Fails: findings of that level.\n\n\
        | sculpt | guides | faces | poles / need | spirals | guide distance | guide angle | cycles, counts missing \
        | RMS / sweeps | RMS / best | edge p95 / p5 | J min | J p1 | cuts | fails |\n\
        | --- | --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --- |\n";
    for row in rows.iter().filter(|r| r.choice == 0) {
        let _ = write!(out, "| {} | {} |", row.sculpt, row.given.name());
        let Some(case) = cases.iter().find(|c| c.name == row.sculpt) else {
            continue;
        };
        match &row.result {
            Ok(figures) => measured(out, figures, case, row.given),
            Err(words) => {
                let words = words.replace('|', "/").replace('\n', " ");
                let _ = writeln!(out, " refused |{} {words} |", " |".repeat(11));
            }
        }
    }
}

fn measured(out: &mut String, figures: &Figures, case: &Case, given: Given) {
    let m = &figures.measures;
    let missing = Missing::of(m, case, given);
    let missing = match given.of(&case.guides).is_empty() {
        true => "–".to_owned(),
        false => format!("{}, {}", missing.cycles, missing.counts),
    };
    let mut fails = figures.failing.clone();
    fails.extend(figures.faults.iter().map(|f| format!("unsound: {f}")));
    let _ = writeln!(
        out,
        " {} | {} / {} | {} | {} | {} | {missing} | {} | {} | {:.2} | {:.2} | {:.2} | {} | {} |",
        m.counts.faces,
        m.poles.poles,
        figures.pole_need,
        m.strips.spirals,
        cell(worst(m, |g| g.distance_p95), 2),
        cell(worst(m, |g| g.angle_p95_deg), 1),
        cell(m.yardstick.as_ref().map(|y| y.rms_ratio), 2),
        cell(m.yardstick.as_ref().map(|y| y.rms_ratio_to_best), 2),
        m.size.edge_ratio_p95_p5,
        m.shape.scaled_jacobian_min,
        m.shape.scaled_jacobian_p1,
        m.self_intersections,
        fails.join(", "),
    );
}

fn pictures(out: &mut String, rows: &[Row], cases: &[Case], folder: &str) {
    *out += "\n### Pictures\n\nFrom three-quarter above.\n\n| sculpt |";
    for given in SETS {
        let _ = write!(out, " {} |", given.name());
    }
    *out += "\n| --- | --- | --- | --- |\n";
    for case in cases {
        let _ = write!(out, "| {} |", case.name);
        for given in SETS {
            let made = rows.iter().any(|r| {
                r.choice == 0 && r.sculpt == case.name && r.given == given && r.result.is_ok()
            });
            let file = picture_name(&case.name, given);
            let words = format!("{}, {} guides", case.name, given.name());
            let _ = match made {
                true => write!(out, " ![{words}]({folder}/{file}) |"),
                false => write!(out, " refused |"),
            };
        }
        *out += "\n";
    }
}

/// Figures of several surfaces taken together.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    surfaces: usize,
    poles: usize,
    need: u64,
    spirals: usize,
    distance: f64,
    cycles: usize,
    counts: usize,
    rms: f64,
    signed: f64,
    ratio: f64,
    least: f64,
    first: f64,
    cuts: usize,
    fails: usize,
}

impl Sum {
    fn add(&mut self, figures: &Figures, case: &Case, given: Given) {
        let m = &figures.measures;
        let missing = Missing::of(m, case, given);
        self.surfaces += 1;
        self.poles += m.poles.poles;
        self.need += figures.pole_need;
        self.spirals += m.strips.spirals;
        self.distance = self
            .distance
            .max(worst(m, |g| g.distance_p95).unwrap_or(0.0));
        self.cycles += missing.cycles;
        self.counts += missing.counts;
        self.rms += m.fit.rms_pct;
        self.signed += m.fit.signed_mean_pct;
        self.ratio += m.size.edge_ratio_p95_p5;
        self.least += m.shape.scaled_jacobian_min;
        self.first += m.shape.scaled_jacobian_p1;
        self.cuts += m.self_intersections;
        // Decimation is looked at in the default way alone.
        let failing = figures.failing.iter().filter(|code| *code != "yardstick");
        self.fails += failing.count() + figures.faults.len();
    }
}

/// The row of a sculpt, a set of guides and a way.
fn row_of<'a>(rows: &'a [Row], case: &Case, given: Given, choice: usize) -> Option<&'a Figures> {
    let this = |r: &&Row| r.sculpt == case.name && r.given == given && r.choice == choice;
    rows.iter().find(this)?.result.as_ref().ok()
}

fn ways(out: &mut String, rows: &[Row], cases: &[Case]) {
    *out += "\n### Other ways\n\n\
        In each, one thing differs from the default. Over all sculpts from which every way made a \
        surface with these guides (the column *of* counts the surfaces that this way made); poles, \
        needs, spirals, what is missing, cuts and fails (but for decimation) are sums, guide distance is the worst, the rest \
        are means. Distances to the sculpt are percent of its diagonal, positive outside.\n\n\
        | way | guides | surfaces, of | poles / need | spirals | guide distance | cycles, counts missing | RMS % \
        | mean with sign % | edge p95 / p5 | J min | J p1 | cuts | fails |\n\
        | --- | --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n";
    let count = choices().len();
    for (number, choice) in choices().iter().enumerate() {
        for given in SETS {
            let mut sum = Sum::default();
            let mut made = 0;
            for case in cases {
                let of = |n: usize| row_of(rows, case, given, n);
                made += usize::from(of(number).is_some());
                if let Some(figures) = of(number)
                    && (0..count).all(|n| of(n).is_some())
                {
                    sum.add(figures, case, given);
                }
            }
            let n = sum.surfaces.max(1) as f64;
            let _ = writeln!(
                out,
                "| {} | {} | {}, {made} | {} / {} | {} | {:.2} | {}, {} | {:.3} | {:+.4} | {:.2} | {:.2} | {:.2} | {} | {} |",
                choice.name,
                given.name(),
                sum.surfaces,
                sum.poles,
                sum.need,
                sum.spirals,
                sum.distance,
                sum.cycles,
                sum.counts,
                sum.rms / n,
                sum.signed / n,
                sum.ratio / n,
                sum.least / n,
                sum.first / n,
                sum.cuts,
                sum.fails,
            );
        }
    }
}

/// Poles beyond the need, spirals and least Jacobian of each sculpt in each way.
fn by_sculpt(out: &mut String, rows: &[Row], cases: &[Case]) {
    *out += "\n### Other ways, by sculpt\n\n\
        Poles beyond the need; spirals; least scaled Jacobian. The columns stand in the order of the \
        table above.\n\n| sculpt | guides |";
    for number in 0..choices().len() {
        let _ = match number {
            0 => write!(out, " default |"),
            n => write!(out, " way {n} |"),
        };
    }
    *out += "\n| --- | --- |";
    *out += &" --: |".repeat(choices().len());
    *out += "\n";
    for case in cases {
        for given in SETS {
            let _ = write!(out, "| {} | {} |", case.name, given.name());
            for number in 0..choices().len() {
                let _ = match row_of(rows, case, given, number) {
                    Some(figures) => write!(
                        out,
                        " {}; {}; {:.2} |",
                        figures.measures.poles.poles as i64 - figures.pole_need as i64,
                        figures.measures.strips.spirals,
                        figures.measures.shape.scaled_jacobian_min,
                    ),
                    None => write!(out, " refused |"),
                };
            }
            *out += "\n";
        }
    }
}
