//! Measures in words, held against their limits, with their places.

mod elements;
mod form;
mod guides;
mod intent;

use base::{Finding, Findings, Level, Place};

use super::CheckInput;
use super::bare::Bare;
use super::elements::Elements;
use super::guides::Following;
use super::held::Kept;
use super::intent::Met;
use super::measures::Measures;
use super::rings::Cycle;
use super::surface::Surface;

/// Places shown per finding.
const SHOWN: usize = 8;

/// The elements behind the numbers.
pub(super) struct Spots<'a> {
    pub elements: &'a Elements,
    /// First quad of each strip at fault.
    pub strips: &'a [u32],
    /// Guides that cross themselves and strips with them.
    pub drawn: &'a [String],
    /// Faces without a mirror image.
    pub mirror: &'a [u32],
    /// Each quad's least scaled Jacobian.
    pub jacobians: &'a [f64],
    /// Pairs of triangles that pass through each other.
    pub cuts: &'a [[u32; 2]],
    /// The cycle along each guide.
    pub cycles: &'a [Option<Cycle>],
    /// Where each guide is followed worst.
    pub following: &'a [Following],
    /// Loops, areas, pins and keep-outs.
    pub met: &'a Met,
    /// What of the sculpt no quad lies near.
    pub bare: Option<&'a Bare>,
    /// What became of holds.
    pub kept: &'a [Kept],
}

struct List<'a> {
    surface: &'a Surface<'a>,
    findings: Findings,
}

impl List<'_> {
    fn vertex(&self, id: u32) -> Place {
        let at = self.surface.at(id).to_array();
        Place::Vertex { id, at }
    }

    fn face(&self, id: u32) -> Place {
        let at = self.surface.mesh.centre(id as usize).to_array();
        Place::Face { id, at }
    }

    fn edge(&self, id: u32) -> Place {
        let [a, b] = self.surface.edges.ends[id as usize];
        let at = ((a + b) / 2.0).to_array();
        Place::Point { at }
    }

    /// A measured value against its limit: `pass` is said if it holds, else `fail`.
    fn hold(
        &mut self,
        code: &str,
        holds: bool,
        value: f64,
        limit: f64,
        says: [String; 2],
        places: Vec<Place>,
    ) {
        let [pass, fail] = says;
        let (level, sentence) = if holds {
            (Level::Pass, pass)
        } else {
            (Level::Fail, fail)
        };
        let mut finding = Finding::new(code, level, sentence).measured(value, Some(limit));
        if !holds {
            finding.places.extend(places.into_iter().take(SHOWN));
        }
        self.findings.push(finding);
    }

    /// A count that must be 0.
    fn none(&mut self, code: &str, count: usize, pass: &str, fail: [&str; 2], places: Vec<Place>) {
        let says = [pass.to_owned(), numbered(count, fail)];
        self.hold(code, count == 0, count as f64, 0.0, says, places);
    }

    fn remark(
        &mut self,
        code: &str,
        level: Level,
        value: f64,
        sentence: String,
        places: Vec<Place>,
    ) {
        let mut finding = Finding::new(code, level, sentence).measured(value, None);
        finding.places.extend(places.into_iter().take(SHOWN));
        self.findings.push(finding);
    }
}

/// The sentence for one or for many, with `#` for the number.
fn numbered(count: usize, [one, many]: [&str; 2]) -> String {
    let sentence = if count == 1 { one } else { many };
    sentence.replace('#', &thousands(count))
}

fn thousands(n: usize) -> String {
    let digits = n.to_string();
    let groups = digits.as_bytes().rchunks(3).rev();
    let groups: Vec<&str> = groups.filter_map(|g| std::str::from_utf8(g).ok()).collect();
    groups.join(",")
}

/// All findings, the gravest kinds first.
pub(super) fn list(
    input: &CheckInput,
    surface: &Surface,
    measures: &Measures,
    spots: &Spots,
) -> Findings {
    let mut list = List {
        surface,
        findings: Findings::default(),
    };
    elements::elements(&mut list, measures, spots.elements);
    elements::poles(&mut list, measures);
    let shown = measures
        .guides
        .iter()
        .zip(spots.cycles)
        .zip(spots.following);
    for (guide, ((measured, cycle), following)) in input.guides.iter().zip(shown) {
        guides::follow(&mut list, guide, measured, cycle.as_ref(), following);
    }
    intent::intent(&mut list, input, spots.met);
    for kept in spots.kept {
        let (value, limit) = (kept.kept as f64, kept.held as f64);
        let holds = kept.kept == kept.held;
        list.hold("hold-kept", holds, value, limit, kept.says(), kept.places());
        if let Some((level, sentence, place)) = kept.off_sculpt() {
            list.remark("hold-off-sculpt", level, kept.off.0, sentence, vec![place]);
        }
    }
    form::strips(&mut list, measures, spots);
    form::mirror(&mut list, measures, spots);
    form::fit(&mut list, measures, spots);
    form::size(&mut list, input, measures);
    form::shape(&mut list, measures, spots);
    list.findings
}
