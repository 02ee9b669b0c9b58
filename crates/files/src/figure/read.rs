//! From the text of a set file to a [`FigureSpec`], with all problems at once.

use std::path::Path;

use toml_edit::{Item, TableLike};

use super::{FigurePart, FigureSpec, PartFrom, Share};
use crate::job::near::nearest;
use crate::job::read::{given_plane, named, parse_with, tables_of};
use crate::job::spec::{checked_faces, out_of_range};
use crate::job::table::{MayVanish, Problems, View};
use crate::job::{FACES, JobError, JobFault, PlaneSpec};

/// The version of the format.
const VERSION: i64 = 1;
/// Planes that have a word here: all parts share one, so that none can be found from a sculpt.
const PLANES: [(&str, PlaneSpec); 3] = [
    ("x", PlaneSpec::X),
    ("y", PlaneSpec::Y),
    ("z", PlaneSpec::Z),
];
/// Quads of a whole figure.
const BUDGET: std::ops::RangeInclusive<i64> = 50..=10_000_000;

const LIST: &str = "[[part]] with two pairs of brackets, once for each part";
const NAME: &str = "name = \"left glove\"";
const JOB: &str = "job = \"glove.toml\"";
const OVER: &str = "over = [\"left glove\", \"right glove\"]";
const CLEARANCE: &str = "clearance = 0.4";

pub(super) fn parse(path: &Path, text: &str) -> Result<FigureSpec, JobError> {
    Ok(parse_with(path, text, spec)?.1)
}

/// A part as it is written: names instead of numbers.
struct Written {
    name: String,
    job: Option<String>,
    image_of: Option<String>,
    share: Share,
    symmetric: Option<bool>,
    over: Vec<String>,
    clearance: Option<f64>,
    line: usize,
}

fn spec(
    table: &dyn TableLike,
    stem: Option<String>,
    problems: &mut Problems<'_>,
) -> Option<FigureSpec> {
    let top = View::new(table, "", Some(0..0));
    let known = ["figure", "name", "symmetry", "budget", "layers", "part"];
    top.only(problems, &known, &[]);
    match top.whole(problems, "figure", "figure = 1") {
        Some(VERSION) => {}
        Some(found) => {
            let key = "figure";
            top.problem(problems, key, JobFault::Version { key, found });
        }
        None if top.has("figure") => {}
        None => top.missing(problems, "figure", "figure = 1 as the first line"),
    }
    let name = top.text(problems, "name", "name = \"lighthouse keeper\"");
    let name = name.map(|name| name.trim().to_owned()).or(stem);
    let plane = plane(&top, problems);
    let budget = budget(&top, problems);
    let clearance = top
        .table(problems, "layers", "[layers]")
        .and_then(|layers| {
            layers.only(problems, &["clearance"], &[]);
            layers.length(problems, "clearance", CLEARANCE, MayVanish::No)
        });
    if !top.has("part") {
        top.missing(problems, "part", LIST);
    }
    let written = named(&top, problems, ("part", LIST), part);
    let tables = tables_of(&top, &mut Problems::new(""), "part", LIST);
    if written.len() != tables.len() {
        // What one lacks would be told again of all that name it.
        return None;
    }
    let label = |w: &Written| format!("part '{}'", w.name);
    let views = tables.into_iter().zip(&written);
    let views: Vec<View<'_>> = views
        .map(|((table, span), w)| View::new(table, label(w), span))
        .collect();
    let mut parts: Vec<FigurePart> = Vec::new();
    for (view, this) in views.iter().zip(&written) {
        let number = |key: &str, name: &str, problems: &mut Problems<'_>| {
            let found = parts.iter().position(|p| p.name == name);
            if found.is_none() {
                let fault = JobFault::UnknownPart {
                    part: name.to_owned(),
                    nearest: nearest(name, parts.iter().map(|p| p.name.as_str())),
                };
                view.problem(problems, key, fault);
            }
            found
        };
        let from = match (&this.job, &this.image_of) {
            (Some(job), _) => PartFrom::Job(job.into()),
            // One of the two stands there.
            (None, of) => {
                let of = of.as_deref().unwrap_or_default();
                PartFrom::Image(number("image_of", of, problems)?)
            }
        };
        let over = this.over.iter();
        let over: Vec<usize> = over
            .filter_map(|name| number("over", name, problems))
            .collect();
        if let PartFrom::Image(of) = from {
            if plane.is_none() {
                view.problem(problems, "image_of", JobFault::ImageWithoutPlane);
            }
            if let PartFrom::Image(_) = parts[of].from {
                let part = parts[of].name.clone();
                view.problem(problems, "image_of", JobFault::ImageOfImage { part });
            }
        }
        let clearance = this.clearance.or(clearance);
        if clearance.is_none() && !this.over.is_empty() {
            view.missing(problems, "clearance", CLEARANCE);
        }
        let has_image = |w: &Written| w.image_of.as_ref() == Some(&this.name);
        let paired = this.image_of.is_some() || written.iter().any(has_image);
        let part = FigurePart {
            name: this.name.clone(),
            from,
            share: this.share,
            symmetric: this.symmetric.unwrap_or(!paired) && plane.is_some(),
            over,
            clearance: clearance.unwrap_or_default(),
            line: this.line,
        };
        if let Some(other) = parts.iter().find(|p| p.folder() == part.folder()) {
            let (folder, other) = (part.folder(), other.name.clone());
            view.problem(problems, "name", JobFault::SameFolder { folder, other });
        }
        parts.push(part);
    }
    let figure = FigureSpec {
        name: name.unwrap_or_default(),
        plane,
        budget,
        parts,
    };
    for (view, (part, faces)) in views.iter().zip(figure.parts.iter().zip(figure.faces())) {
        let least = *FACES.start();
        if let (Share::Weight(_), Some(faces), true) = (part.share, faces, budget.is_some())
            && faces < least
        {
            let faces = i64::from(faces);
            view.problem(problems, "share", JobFault::BudgetTooSmall { faces, least });
        }
    }
    Some(figure)
}

fn plane(top: &View<'_>, problems: &mut Problems<'_>) -> Option<PlaneSpec> {
    let table = top.table(problems, "symmetry", "[symmetry]")?;
    table.only(problems, &["plane"], &[]);
    if table.item("plane").is_some_and(Item::is_table_like) {
        return given_plane(&table, problems);
    }
    if !table.has("plane") {
        table.missing(problems, "plane", "plane = \"x\"");
    }
    table.word(problems, "plane", "plane = \"x\"", &PLANES)
}

fn budget(top: &View<'_>, problems: &mut Problems<'_>) -> Option<u32> {
    const EXAMPLE: &str = "faces = 8000";
    let table = top.table(problems, "budget", "[budget]")?;
    table.only(problems, &["faces"], &[]);
    if !table.has("faces") {
        table.missing(problems, "faces", EXAMPLE);
    }
    let faces = table.whole(problems, "faces", EXAMPLE)?;
    let fits = u32::try_from(faces)
        .ok()
        .filter(|_| BUDGET.contains(&faces));
    if fits.is_none() {
        let range = format!("from {} to {}", BUDGET.start(), BUDGET.end());
        table.problem(problems, "faces", out_of_range("faces", faces, range));
    }
    fits
}

fn part(table: &View<'_>, line: usize, problems: &mut Problems<'_>) -> Option<Written> {
    let known = [
        "name",
        "job",
        "image_of",
        "faces",
        "share",
        "symmetric",
        "over",
        "clearance",
    ];
    table.only(problems, &known, &[]);
    if !table.has("name") {
        table.missing(problems, "name", NAME);
    }
    let name = table.text(problems, "name", NAME);
    let job = table.text(problems, "job", JOB);
    let image_of = table.text(problems, "image_of", "image_of = \"left glove\"");
    if table.has("job") == table.has("image_of") {
        let wanted = "'job' or 'image_of'";
        table.problem(problems, "job", JobFault::EitherOr { wanted });
    }
    let share = share(table, problems);
    let symmetric = table.flag(problems, "symmetric", "symmetric = false");
    if table.has("image_of") {
        for key in ["faces", "share", "symmetric"] {
            if table.has(key) {
                let wanted =
                    "'image_of' or what only a part with a job has: 'faces', 'share', 'symmetric'";
                table.problem(problems, key, JobFault::EitherOr { wanted });
            }
        }
    }
    let over = table.texts(problems, "over", OVER);
    let clearance = table.length(problems, "clearance", CLEARANCE, MayVanish::No);
    Some(Written {
        name: name?.trim().to_owned(),
        job: job.map(str::to_owned),
        image_of: image_of.map(|of| of.trim().to_owned()),
        share,
        symmetric,
        over: over.unwrap_or_default(),
        clearance,
        line,
    })
}

fn share(table: &View<'_>, problems: &mut Problems<'_>) -> Share {
    if table.has("faces") && table.has("share") {
        let wanted = "'faces' or 'share'";
        table.problem(problems, "share", JobFault::EitherOr { wanted });
    }
    if let Some(faces) = table.whole(problems, "faces", "faces = 1800") {
        match checked_faces(faces) {
            Ok(faces) => return Share::Faces(faces),
            Err(fault) => table.problem(problems, "faces", fault),
        }
    }
    let weight = table.number(problems, "share", "share = 1.5");
    match weight {
        Some(weight) if weight.is_finite() && weight > 0.0 => Share::Weight(weight),
        Some(weight) => {
            let range = "a number above 0".to_owned();
            table.problem(problems, "share", out_of_range("share", weight, range));
            Share::Weight(1.0)
        }
        None => Share::Weight(1.0),
    }
}
