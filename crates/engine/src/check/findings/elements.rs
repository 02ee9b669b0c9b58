//! Elements, defects and poles in words.

use base::Level;

use super::super::elements::Elements;
use super::super::measures::Measures;
use super::{List, numbered, thousands};

pub(super) fn elements(list: &mut List, measures: &Measures, found: &Elements) {
    let counts = &measures.counts;
    let places = found.broken_faces.iter().map(|&f| list.face(f)).collect();
    let pass = format!("All {} faces are quads.", thousands(counts.faces));
    let fail = [
        "1 face has two corners at one vertex.",
        "# faces have two corners at one vertex.",
    ];
    list.none("quads-only", found.broken_faces.len(), &pass, fail, places);
    let places = found.heavy.iter().map(|&e| list.edge(e)).collect();
    let pass = "No edge has more than two faces.";
    let fail = [
        "1 edge has more than two faces.",
        "# edges have more than two faces.",
    ];
    list.none(
        "manifold-edges",
        counts.nonmanifold_edges,
        pass,
        fail,
        places,
    );
    let places = found.pinched.iter().map(|&v| list.vertex(v)).collect();
    let pass = "At every vertex the faces form one fan.";
    let fail = [
        "At 1 vertex parts of the surface merely touch.",
        "At # vertices parts of the surface merely touch.",
    ];
    list.none(
        "manifold-vertices",
        counts.nonmanifold_vertices,
        pass,
        fail,
        places,
    );
    let places = found.clashing.iter().map(|&e| list.edge(e)).collect();
    let pass = "All faces face the same way as their neighbours.";
    let fail = [
        "Across 1 edge neighbouring faces face opposite ways.",
        "Across # edges neighbouring faces face opposite ways.",
    ];
    list.none(
        "consistent-winding",
        counts.inconsistent_edges,
        pass,
        fail,
        places,
    );
    let places = found.unused.iter().map(|&v| list.vertex(v)).collect();
    let pass = "Every vertex belongs to a face.";
    let fail = [
        "1 vertex belongs to no face.",
        "# vertices belong to no face.",
    ];
    list.none(
        "unused-vertices",
        counts.unused_vertices,
        pass,
        fail,
        places,
    );
    let pieces = ["The surface is one piece", "The surface has # pieces"];
    let loops = ["1 boundary loop", "# boundary loops"];
    let sentence = format!(
        "{} with {}.",
        numbered(counts.components, pieces),
        numbered(counts.boundary_loops, loops)
    );
    list.remark(
        "pieces",
        Level::Note,
        counts.components as f64,
        sentence,
        vec![],
    );
}

pub(super) fn poles(list: &mut List, measures: &Measures) {
    let poles = &measures.poles;
    let surface = list.surface;
    let of = |keep: &dyn Fn(u32) -> bool| {
        let all = 0..surface.topology.valence.len();
        let chosen = all.filter(|&v| surface.is_inner_pole(v) && keep(surface.topology.valence[v]));
        chosen.map(|v| v as u32).collect::<Vec<u32>>()
    };
    let places = of(&|n| n == 2)
        .into_iter()
        .map(|v| list.vertex(v))
        .collect();
    let pass = "No inner vertex has only two edges.";
    let fail = [
        "1 inner vertex has only two edges.",
        "# inner vertices have only two edges.",
    ];
    list.none("two-edged-vertices", poles.valence_2, pass, fail, places);
    let residual = poles.valence_identity_residual as usize;
    let pass = "The poles add up to what the shape of the surface demands.";
    let fail = ["The poles are off by 1 from what the shape demands."; 2];
    let fail = [
        fail[0],
        "The poles are off by # from what the shape demands.",
    ];
    list.none("pole-sum", residual, pass, fail, vec![]);
    let places = of(&|_| true).into_iter().map(|v| list.vertex(v)).collect();
    let kinds: Vec<String> = poles
        .interior_valences
        .iter()
        .filter(|(valence, _)| *valence != 4)
        .map(|(valence, count)| format!("{} of {valence} edges", thousands(*count)))
        .collect();
    let sentence = match poles.poles {
        0 => "There are no poles inside the surface.".to_owned(),
        n => format!(
            "{}: {}.",
            numbered(n, ["1 pole", "# poles"]),
            kinds.join(", ")
        ),
    };
    list.remark("poles", Level::Note, poles.poles as f64, sentence, places);
    if poles.poles_over_5 > 0 {
        let places = of(&|n| n > 5).into_iter().map(|v| list.vertex(v)).collect();
        let says = [
            "1 pole has six or more edges.",
            "# poles have six or more edges.",
        ];
        let sentence = numbered(poles.poles_over_5, says);
        list.remark(
            "crowded-poles",
            Level::Warn,
            poles.poles_over_5 as f64,
            sentence,
            places,
        );
    }
}
