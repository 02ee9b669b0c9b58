//! The check of a finished run.

use base::{Finding, Findings, Level, Place, Task};
use engine::assemble::Sides;
use engine::check::{self, CheckError, CheckInput, Measures};
use engine::model::{Plane, Sculpt};

use super::pipeline::{Outcome, Settings, Size};

/// Measures the surface of a run against what was asked for. `yardstick` asks for plain decimation
/// beside it, which takes seconds on a large sculpt.
///
/// # Errors
/// [`CheckError`].
pub fn checked(
    outcome: &Outcome,
    sculpt: &Sculpt,
    settings: &Settings,
    yardstick: bool,
    task: &Task,
) -> Result<(Measures, Findings), CheckError> {
    let input = CheckInput {
        surface: &outcome.surface,
        sculpt,
        guides: &outcome.guides,
        plane: mirror(outcome, settings),
        intent: &settings.intent,
        target_faces: target_faces(outcome, settings),
        yardstick,
        holds: &settings.holds,
    };
    let (measures, mut findings) = check::run(&input, task)?;
    findings.append(pole_findings(outcome));
    Ok((measures, findings))
}

/// The plane about which a run's surface is its own image: sides that are fitted each to its own
/// surface have none.
pub fn mirror(outcome: &Outcome, settings: &Settings) -> Option<Plane> {
    outcome.plane.filter(|_| settings.sides == Sides::Mirror)
}

/// The faces asked for, with those that the job's edits ask for besides.
fn target_faces(outcome: &Outcome, settings: &Settings) -> Option<u32> {
    match settings.size {
        Size::Faces(faces) => u32::try_from(faces as i64 + outcome.added_quads).ok(),
        Size::Edge(_) => None,
    }
}

/// Where each pole is and why.
fn pole_findings(outcome: &Outcome) -> Findings {
    let mut findings = Findings::default();
    for pole in &outcome.poles {
        let mut finding = Finding::new("pole", Level::Note, pole.reason.clone())
            .measured(f64::from(pole.valence), None);
        if let Some(at) = outcome.surface.positions.get(pole.vertex as usize) {
            finding = finding.at(Place::Vertex {
                id: pole.vertex,
                at: at.to_array(),
            });
        }
        findings.push(finding);
    }
    findings
}
