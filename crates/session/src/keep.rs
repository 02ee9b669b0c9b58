//! A run that keeps the last surface's topology where guides only moved a little.

use base::{Finding, Level, Task};
use engine::edit::{self, Anew};
use engine::guides::{self, GuideOptions};
use engine::model::Curve;

use super::pipeline::{Clock, Outcome, Session, SessionError, Settings};

impl Session {
    /// As [`Session::run`], but where the settings differ from the last run's only in the points
    /// of guides, and those moved a little, the last surface is carried along: the same quads in
    /// the same order, vertices away from the moved guides where they were to the bit. Else, and
    /// where quads would be squeezed, the surface is computed anew. A finding says which and why.
    ///
    /// Rows of quads that move apart or together keep their number, so edges may become less even
    /// than in a surface computed anew; the check says when too much so.
    ///
    /// The result depends on the last run, which [`Session::run`]'s never does.
    ///
    /// # Errors
    /// [`SessionError`], as [`Session::run`].
    pub fn run_keeping(
        &mut self,
        settings: &Settings,
        task: &Task,
    ) -> Result<Outcome, SessionError> {
        let why = match self.carried(settings, task)? {
            Ok(outcome) => return Ok(outcome),
            Err(why) => why,
        };
        let mut outcome = self.run(settings, task)?;
        let sentence = format!("The surface was computed anew: {why}.");
        let finding = Finding::new("topology-anew", Level::Note, sentence);
        outcome.findings.push(finding);
        Ok(outcome)
    }

    /// The last surface carried along, as [`Session::run_keeping`] does; `None` where it would have
    /// to be computed anew.
    ///
    /// # Errors
    /// As [`Session::run_keeping`].
    pub fn run_carried(
        &mut self,
        settings: &Settings,
        task: &Task,
    ) -> Result<Option<Outcome>, SessionError> {
        Ok(self.carried(settings, task)?.ok())
    }

    /// The last surface carried along, or why it can't be.
    fn carried(
        &mut self,
        settings: &Settings,
        task: &Task,
    ) -> Result<Result<Outcome, &'static str>, SessionError> {
        let mut clock = Clock::default();
        let Some(last) = self.last.as_mut() else {
            return Ok(Err("there is no surface yet to carry along"));
        };
        if !differ_in_points_alone(&last.settings, settings) {
            return Ok(Err("more than the points of guides changed"));
        }
        let options = GuideOptions {
            edge: last.guide_edge,
            rim_corners: last.rim_corners,
        };
        let plane = last.half.0.plane;
        let mut drawn = settings.guides.clone();
        drawn.extend_from_slice(last.cloth());
        drawn.extend(last.held.iter().flat_map(guides::stand_ins));
        let rims = guides::Rims::of(&self.sculpt);
        let held = last.held.as_ref();
        let (laid, laid_findings) =
            guides::run_beside(&rims, held, &drawn, &self.sculpt, plane, &options, task)?;
        clock.lap("guides");
        let curves = laid.curves;
        let same = |(a, b): (&Curve, &Curve)| {
            (&a.guides, a.kind, a.closed, a.ends, a.count)
                == (&b.guides, b.kind, b.closed, b.ends, b.count)
        };
        let paired = curves.len() == last.curves.len();
        if !paired || !curves.iter().zip(&last.curves).all(same) {
            return Ok(Err("guides meet the plane or each other in another way"));
        }
        let parts = last.parts(&self.sculpt);
        let kept = match edit::retrace(&parts, &last.whole, &curves, task)? {
            Ok(kept) => kept,
            Err(Anew::InPieces) => return Ok(Err("a moved guide is followed in pieces")),
            Err(Anew::TooFar) => return Ok(Err("a guide moved by more than two edge lengths")),
            Err(Anew::Held) => return Ok(Err("quads that are held would change")),
            Err(Anew::Squeezed) => return Ok(Err("quads beside a moved guide would be squeezed")),
        };
        clock.lap("edit");
        last.settings = settings.clone();
        last.guides = drawn;
        last.curves = curves;
        last.placed = kept.half;
        last.whole = kept.whole;
        let mut outcome = last.outcome(&self.sculpt, settings, &mut clock, task)?;
        outcome.findings.append(laid_findings);
        let sentence = format!(
            "The last surface was carried along: its quads stay, {} of {} where they were.",
            kept.untouched,
            last.whole.mesh.quads.len()
        );
        let finding = Finding::new("topology-kept", Level::Note, sentence)
            .measured(kept.untouched as f64, None);
        outcome.findings.push(finding);
        Ok(Ok(outcome))
    }
}

/// Whether nothing but the points of guides differs; edits are played anew in any case.
fn differ_in_points_alone(old: &Settings, new: &Settings) -> bool {
    let frame = |s: &Settings| (s.plane, s.sides, s.size, s.adapt);
    let guides = |s: &Settings| {
        let all = s.guides.iter();
        all.map(|g| (g.name.clone(), g.kind, g.closed, g.count))
            .collect::<Vec<_>>()
    };
    frame(old) == frame(new)
        && old.intent == new.intent
        && old.holds == new.holds
        && guides(old) == guides(new)
}
