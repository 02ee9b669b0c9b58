//! What the artist is told about layers.

use base::{Finding, Findings, Level, Place};
use mesh::QuadMesh;

use super::{Cleared, Layer};

/// Most places that a finding names.
const PLACES: usize = 40;

/// The findings of cleared layers.
pub(super) fn of(surface: &QuadMesh, layers: &[Layer], cleared: &Cleared) -> Findings {
    let mut findings = Findings::default();
    let moved = QuadMesh {
        positions: cleared.positions.clone(),
        quads: surface.quads.clone(),
        groups: Vec::new(),
    };
    let face = |quad: u32| Place::Face {
        id: quad,
        at: moved.centre(quad as usize).to_array(),
    };
    let all = layers.iter().zip(&cleared.before).zip(&cleared.after);
    for ((layer, before), after) in all {
        let name = &layer.name;
        let (was, is) = (before.crossings.len(), after.crossings.len());
        let mut finding = if is == 0 && after.wrong.is_empty() {
            let met = if was == 0 && before.wrong.is_empty() {
                "before as well".to_owned()
            } else {
                format!("where {was} pairs of faces did before")
            };
            let sentence = format!("Nothing goes through layer '{name}', {met}.");
            Finding::new("layer-crossings", Level::Pass, sentence)
        } else if is == 0 {
            let sentence = format!(
                "{} vertices are on the wrong side of layer '{name}' and couldn't be brought to the other. Check which side the layer is on and that its faces look outward, or move the part.",
                after.wrong.len()
            );
            Finding::new("layer-crossings", Level::Fail, sentence)
        } else {
            let sentence = format!(
                "The surface goes through layer '{name}' in {is} pairs of faces ({was} before) that couldn't be cleared. Look whether another layer, a held part or the layer's own shape leaves no room, or correct the sculpt there."
            );
            Finding::new("layer-crossings", Level::Fail, sentence)
        };
        finding = finding.measured(is as f64, Some(0.0));
        let mut quads: Vec<u32> = after.crossings.iter().map(|c| c[0]).collect();
        quads.dedup();
        for &quad in quads.iter().take(PLACES) {
            finding = finding.at(face(quad));
        }
        for &id in after.wrong.iter().take(PLACES - quads.len().min(PLACES)) {
            let at = moved.positions[id as usize].to_array();
            finding = finding.at(Place::Vertex { id, at });
        }
        findings.push(finding);
        let (was, is) = (before.close.len(), after.close.len());
        let c = layer.clearance;
        let mut finding = if is == 0 {
            let sentence = format!(
                "Every place is at least {c} away from layer '{name}'; {was} faces were nearer before."
            );
            Finding::new("layer-clearance", Level::Pass, sentence)
        } else {
            let sentence = format!(
                "{is} faces come closer than {c} to layer '{name}' ({was} did before) and couldn't be cleared. Ask for less clearance, or look whether another layer or a held part leaves no room."
            );
            Finding::new("layer-clearance", Level::Fail, sentence)
        };
        let nearest = after.close.iter().map(|close| close.1);
        finding = finding.measured(nearest.fold(c, f64::min), Some(c));
        for (quad, _, _) in after.close.iter().take(PLACES) {
            finding = finding.at(face(*quad));
        }
        findings.push(finding);
    }
    if cleared.most > 0.0 {
        findings.push(shape(cleared, face));
        let beside = if cleared.least_mean > 0.0 {
            format!(
                "; no push as smooth moves less than {:.3} in the mean",
                cleared.least_mean
            )
        } else {
            String::new()
        };
        let sentence = format!(
            "Layers moved vertices by {:.3} in the mean and {:.3} at most{beside}.",
            cleared.mean, cleared.most
        );
        let farthest = cleared
            .positions
            .iter()
            .zip(&surface.positions)
            .map(|(a, b)| a.distance(*b))
            .zip(0u32..)
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        let mut finding = Finding::new("layer-moved", Level::Note, sentence);
        finding = finding.measured(cleared.mean, None);
        if let Some((_, id)) = farthest {
            let at = cleared.positions[id as usize].to_array();
            finding = finding.at(Place::Vertex { id, at });
        }
        findings.push(finding);
    }
    findings
}

/// Whether the push kept quads open and apart.
fn shape(cleared: &Cleared, face: impl Fn(u32) -> Place) -> Finding {
    let (folded, cuts) = (cleared.folded.len(), cleared.cuts.len());
    if folded + cuts == 0 {
        let sentence = "Moved off the layers, no quad is folded and none passes through another that didn't before.";
        return Finding::new("layer-shape", Level::Pass, sentence).measured(0.0, Some(0.0));
    }
    let sentence = format!(
        "Moved off the layers, {folded} quads are folded and {cuts} pairs of quads pass through each other that didn't before. Ask for less clearance there, for smaller quads, or make room on the sculpt."
    );
    let finding = Finding::new("layer-shape", Level::Fail, sentence);
    let finding = finding.measured((folded + cuts) as f64, Some(0.0));
    let mut quads: Vec<u32> = cleared.folded.clone();
    quads.extend(cleared.cuts.iter().flatten());
    quads.sort_unstable();
    quads.dedup();
    let places = quads.into_iter().take(PLACES);
    places.fold(finding, |finding, quad| finding.at(face(quad)))
}
