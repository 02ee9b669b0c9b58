//! Strips, symmetry, fit, size and shape in words.

use base::{Level, Place};

use super::super::measures::Measures;
use super::super::{CheckInput, limits};
use super::{List, SHOWN, Spots, numbered, thousands};

/// A quad by its scaled Jacobian.
type Worst = (f64, u32);

pub(super) fn strips(list: &mut List, measures: &Measures, spots: &Spots) {
    let strips = &measures.strips;
    let places = spots.strips.iter().map(|&q| list.face(q)).collect();
    let pass = format!("None of the {} strips spirals.", thousands(strips.strips));
    let fail = format!(
        "# strips spiral: {} cross themselves, {} pass a ring more than twice, {} coil round one.",
        strips.self_crossings - strips.drawn_crossings,
        strips.ring_recrossings,
        strips.ring_coils
    );
    let one = fail.replace("# strips spiral", "1 strip spirals");
    list.none(
        "strip-spirals",
        strips.spirals,
        &pass,
        [&one, &fail],
        places,
    );
    if strips.drawn_crossings > 0 {
        let says = [
            "1 strip crosses itself where {} does, as rows beside it must; draw it without that loop if they aren't to.",
            "# strips cross themselves where {} does, as rows beside it must; draw it without that loop if they aren't to.",
        ];
        let names: Vec<String> = spots.drawn.iter().map(|n| format!("'{n}'")).collect();
        let sentence = numbered(strips.drawn_crossings, says).replace("{}", &names.join(", "));
        let guides = spots.drawn.iter().cloned();
        let places = guides.map(|name| Place::Guide { name }).collect();
        let value = strips.drawn_crossings as f64;
        list.remark(
            "strips-cross-as-drawn",
            Level::Warn,
            value,
            sentence,
            places,
        );
    }
}

pub(super) fn mirror(list: &mut List, measures: &Measures, spots: &Spots) {
    let Some(mirror) = &measures.mirror else {
        return;
    };
    let says = [
        "Mirrored vertices fall on vertices.".to_owned(),
        format!(
            "Mirrored vertices miss vertices by up to {:.2} edge lengths.",
            mirror.error
        ),
    ];
    let holds = mirror.error <= limits::MIRROR_ERROR;
    list.hold(
        "mirror-vertices",
        holds,
        mirror.error,
        limits::MIRROR_ERROR,
        says,
        vec![],
    );
    let places = spots.mirror.iter().map(|&f| list.face(f)).collect();
    let pass = "Every face has its mirror image.";
    let fail = [
        "1 face has no mirror image.",
        "# faces have no mirror image.",
    ];
    list.none("mirror-faces", mirror.faces_missing, pass, fail, places);
}

pub(super) fn fit(list: &mut List, measures: &Measures, spots: &Spots) {
    let fit = &measures.fit;
    let sentence = format!(
        "The surface lies within {:.2} % of the sculpt's diagonal, {:.2} % at worst.",
        fit.p99_pct, fit.max_pct
    );
    list.remark("fit", Level::Note, fit.rms_pct, sentence, vec![]);
    let way = if fit.signed_mean_pct >= 0.0 {
        "outside"
    } else {
        "inside"
    };
    let sentence = format!(
        "On average it lies {:.3} % {way} the sculpt.",
        fit.signed_mean_pct.abs()
    );
    list.remark(
        "fit-side",
        Level::Note,
        fit.signed_mean_pct,
        sentence,
        vec![],
    );
    if let Some(bare) = spots.bare {
        let (at, away) = bare.furthest;
        let share = 100.0 * bare.share;
        let sentence = format!(
            "{share:.1} % of the sculpt is bare: quads don't reach there, and end up to {away:.0} edge lengths off. Draw a ring around what sticks out there, or ask for more faces."
        );
        let at = at.to_array();
        list.remark(
            "sculpt-bare",
            Level::Fail,
            share,
            sentence,
            vec![Place::Point { at }],
        );
    }
    if let Some(yardstick) = &measures.yardstick {
        let ratio = yardstick.rms_ratio;
        let says = [
            format!(
                "It is {ratio:.2} times as far from the sculpt as triangles of the same number would be."
            ),
            format!(
                "It is {ratio:.2} times as far from the sculpt as triangles of the same number would be: too far."
            ),
        ];
        list.hold(
            "yardstick",
            ratio <= limits::YARDSTICK,
            ratio,
            limits::YARDSTICK,
            says,
            vec![],
        );
    }
}

pub(super) fn size(list: &mut List, input: &CheckInput, measures: &Measures) {
    let size = &measures.size;
    if let (Some(error), Some(wanted)) = (size.face_count_error_pct, input.target_faces) {
        let faces = thousands(measures.counts.faces);
        let wanted = thousands(wanted as usize);
        let says = [
            format!("{faces} faces, {wanted} asked."),
            format!("{faces} faces, but {wanted} were asked: {error:.1} % off."),
        ];
        let holds = error <= limits::FACE_COUNT_PCT;
        list.hold(
            "face-count",
            holds,
            error,
            limits::FACE_COUNT_PCT,
            says,
            vec![],
        );
    }
    let ratio = size.edge_ratio_p95_p5;
    let says = [
        format!("Edges are even: long ones are {ratio:.1} times short ones."),
        format!("Edges are uneven: long ones are {ratio:.1} times short ones."),
    ];
    list.hold(
        "even-edges",
        ratio <= limits::EDGE_RATIO,
        ratio,
        limits::EDGE_RATIO,
        says,
        vec![],
    );
}

pub(super) fn shape(list: &mut List, measures: &Measures, spots: &Spots) {
    let worst = measures.shape.scaled_jacobian_min;
    let mut squeezed: Vec<Worst> = spots.jacobians.iter().copied().zip(0..).collect();
    squeezed.retain(|q| q.0 <= limits::JACOBIAN);
    squeezed.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let folded = squeezed.iter().filter(|q| q.0 <= 0.0).count();
    let mut fail = numbered(
        squeezed.len(),
        ["1 quad is squeezed", "# quads are squeezed"],
    );
    if folded > 0 {
        fail += &numbered(folded, [", 1 of them folded", ", # of them folded"]);
    }
    let says = [
        format!("No quad is squeezed: the worst has a scaled Jacobian of {worst:.2}."),
        format!("{fail}: the worst has a scaled Jacobian of {worst:.2}."),
    ];
    let places = squeezed
        .iter()
        .take(SHOWN)
        .map(|q| list.face(q.1))
        .collect();
    list.hold(
        "squeezed-quads",
        squeezed.is_empty(),
        worst,
        limits::JACOBIAN,
        says,
        places,
    );
    let mut faces: Vec<u32> = spots.cuts.iter().flatten().map(|t| t / 2).collect();
    faces.sort_unstable();
    faces.dedup();
    let places = faces.iter().map(|&f| list.face(f)).collect();
    let pass = "The surface doesn't pass through itself.";
    let fail = [
        "The surface passes through itself at 1 place.",
        "The surface passes through itself at # places.",
    ];
    list.none("self-intersections", spots.cuts.len(), pass, fail, places);
}
