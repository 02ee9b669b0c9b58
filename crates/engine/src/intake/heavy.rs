//! Edges with more than two triangles: flaps are taken off, the rest is parted.

use mesh::DVec3;

use super::shell::{HeavyEdge, NONE, Shell};

/// A flap has at most this share of the triangles of the sheet that it hangs on.
const FLAP_SHARE: f64 = 0.01;
/// Edges with more triangles than this are cut through, not paired: no shape needs
/// them, and pairing takes time that grows with the cube.
const MOST_PAIRED: usize = 16;

/// What was done about heavy edges.
#[derive(Default)]
pub(super) struct Heavy {
    /// Triangles of flaps that were taken off.
    pub flap_triangles: usize,
    /// Number of flaps.
    pub flaps: usize,
    /// Middles of the edges that had more than two triangles.
    pub places: Vec<DVec3>,
}

/// Leaves at most two triangles linked at each of `edges`.
///
/// Sheets are what hangs together through ordinary edges. A small sheet with a free
/// border that hangs on a far larger one is a flap and goes; of what is left at an edge,
/// the flattest pairs are linked, those first whose windings agree.
pub(super) fn resolve(shell: &mut Shell, edges: &[HeavyEdge]) -> Heavy {
    let mut done = Heavy::default();
    if edges.is_empty() {
        return done;
    }
    let sheets = Sheets::new(shell, edges);
    let middle =
        |e: &HeavyEdge| (shell.point(shell.from(e[0])) + shell.point(shell.to(e[0]))) / 2.0;
    done.places = edges.iter().map(middle).collect();
    let mut flaps: Vec<u32> = Vec::new();
    for edge in edges {
        let size = |h: u32| sheets.size[sheets.of[h as usize / 3] as usize];
        let largest = edge.iter().map(|&h| size(h)).max().unwrap_or(0);
        for &h in edge {
            let sheet = sheets.of[h as usize / 3];
            let small = f64::from(size(h)) <= FLAP_SHARE * f64::from(largest);
            if small && sheets.free_border[sheet as usize] {
                flaps.push(sheet);
            }
        }
    }
    flaps.sort_unstable();
    flaps.dedup();
    done.flaps = flaps.len();
    for t in 0..shell.triangles.len() {
        if !shell.dead[t] && flaps.binary_search(&sheets.of[t]).is_ok() {
            shell.kill(t);
            done.flap_triangles += 1;
        }
    }
    for edge in edges {
        pair_flattest(shell, edge);
    }
    done
}

/// Cuts all triangles apart at these edges.
pub(super) fn cut(shell: &mut Shell, edges: &[HeavyEdge]) {
    for &h in edges.iter().flatten() {
        let across = shell.twin[h as usize];
        shell.tie(across, NONE);
        shell.twin[h as usize] = NONE;
    }
}

struct Sheets {
    /// Sheet of each triangle.
    of: Vec<u32>,
    /// Triangles per sheet.
    size: Vec<u32>,
    /// Whether a sheet has an edge that nothing else is at.
    free_border: Vec<bool>,
}

impl Sheets {
    fn new(shell: &Shell, edges: &[HeavyEdge]) -> Self {
        let mut of = vec![NONE; shell.triangles.len()];
        let mut size = Vec::new();
        let mut stack = Vec::new();
        for t in shell.living() {
            if of[t] != NONE {
                continue;
            }
            let sheet = size.len() as u32;
            size.push(0);
            of[t] = sheet;
            stack.push(t);
            while let Some(t) = stack.pop() {
                size[sheet as usize] += 1;
                for &across in &shell.twin[3 * t..3 * t + 3] {
                    let n = across as usize / 3;
                    if across != NONE && of[n] == NONE {
                        of[n] = sheet;
                        stack.push(n);
                    }
                }
            }
        }
        let mut at_heavy: Vec<u32> = edges.iter().flatten().copied().collect();
        at_heavy.sort_unstable();
        let mut free_border = vec![false; size.len()];
        for t in shell.living() {
            for h in 3 * t..3 * t + 3 {
                if shell.twin[h] == NONE && at_heavy.binary_search(&(h as u32)).is_err() {
                    free_border[of[t] as usize] = true;
                }
            }
        }
        Self {
            of,
            size,
            free_border,
        }
    }
}

fn pair_flattest(shell: &mut Shell, edge: &HeavyEdge) {
    let mut rest: Vec<u32> = edge
        .iter()
        .copied()
        .filter(|&h| !shell.dead[h as usize / 3])
        .collect();
    let Some(&first) = rest.first() else { return };
    if rest.len() > MOST_PAIRED {
        return;
    }
    let start = shell.point(shell.from(first));
    let along = (shell.point(shell.to(first)) - start).normalize_or_zero();
    let outward = |h: u32| {
        let out = shell.point(shell.apex(h)) - start;
        (out - out.dot(along) * along).normalize_or_zero()
    };
    let mut directions: Vec<DVec3> = rest.iter().map(|&h| outward(h)).collect();
    let mut pairs = Vec::new();
    while rest.len() > 1 {
        let mut best = (f64::INFINITY, 0, 1);
        for i in 0..rest.len() {
            for j in i + 1..rest.len() {
                let clash = shell.from(rest[i]) == shell.from(rest[j]);
                // A cosine, from -1 (flat) to 1; no agreeing pair bends more than a clashing one.
                let bend = directions[i].dot(directions[j]) + if clash { 2.0 } else { 0.0 };
                if bend < best.0 {
                    best = (bend, i, j);
                }
            }
        }
        let (_, i, j) = best;
        pairs.push((rest[i], rest[j]));
        for k in [j, i] {
            rest.remove(k);
            directions.remove(k);
        }
    }
    for (g, h) in pairs {
        shell.tie(g, h);
    }
}
