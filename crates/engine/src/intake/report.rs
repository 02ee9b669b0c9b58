//! What intake found, in numbers and in words.

use base::{Finding, Findings, Level, Place};
use mesh::DVec3;

/// Places shown per finding.
const SHOWN: usize = 5;

/// What intake found and did. Every count is of the input's defects, before repair.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct IntakeReport {
    /// Triangles of the file.
    pub triangles_in: usize,
    /// Vertices of the file.
    pub vertices_in: usize,
    /// Triangles of the sculpt.
    pub triangles: usize,
    /// Vertices of the sculpt.
    pub vertices: usize,
    /// Vertices joined to another at the same place.
    pub doubled_vertices: usize,
    /// Triangles without area: two corners at one place, or three in line.
    pub zero_area: usize,
    /// Triangles on the same three vertices as another.
    pub duplicate_triangles: usize,
    /// Edges with more than two triangles.
    pub nonmanifold_edges: usize,
    /// Small flaps on such edges, taken off.
    pub flaps: usize,
    /// Vertices at which separate fans of triangles met; each fan has its own now.
    pub parted_vertices: usize,
    /// Edges cut because the piece has one side only.
    pub twists: usize,
    /// Triangles turned to face the same way as their piece.
    pub turned: usize,
    /// Pieces of the part, before the choice.
    pub pieces: usize,
    /// Pieces left out.
    pub pieces_left_out: usize,
    /// Triangles of those.
    pub triangles_left_out: usize,
    /// Small holes filled.
    pub holes_filled: usize,
    /// Small holes left open.
    pub holes_left: usize,
    /// Boundary loops that are no small holes.
    pub openings: usize,
    /// The same, in words and with places.
    pub findings: Findings,
}

impl IntakeReport {
    /// Adds a finding if there is something to count. `what` is the sentence for one and for many.
    pub(super) fn note(
        &mut self,
        code: &str,
        level: Level,
        count: usize,
        what: [&str; 2],
        places: &[DVec3],
    ) {
        if count == 0 {
            return;
        }
        let sentence = what[usize::from(count != 1)].replace('#', &thousands(count));
        let mut finding = Finding::new(code, level, sentence).measured(count as f64, None);
        for p in places.iter().take(SHOWN) {
            finding = finding.at(Place::Point { at: p.to_array() });
        }
        self.findings.push(finding);
    }
}

/// A number with commas between thousands.
pub(super) fn thousands(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, d) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(d);
    }
    out
}

#[cfg(test)]
mod tests {
    #[test]
    fn thousands_are_parted() {
        assert_eq!(super::thousands(1_234_567), "1,234,567");
        assert_eq!(super::thousands(999), "999");
    }
}
