//! `loopwright demo`: the lighthouse keeper's figure, from sculpts to report.

use std::path::PathBuf;

use demo::{DemoGuide, DemoOptions, DemoSculpt};
use files::{
    DensitySpec, FigureFile, GuideKind, GuideSpec, JobFile, JobSpec, LayerSpec, PlaneSpec, Sides,
    SymmetrySpec, TrimKind, TrimSpec,
};
use serde_json::json;

use crate::args;
use crate::figure;
use crate::job::Order;
use crate::output;
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::run::run_order;
use crate::stamp::{NOTE, Sources, Stamp};

/// What the coat is worn over, beside other parts.
const JERSEY: &str = "jersey.ply";
/// Triangles of it for each of the coat's.
const JERSEY_SHARE: f64 = 0.2;
/// The set file.
const SET: &str = "keeper.toml";
/// The figure: what is worn from the inside out.
const FIGURE: &str = include_str!("keeper.toml");
/// The set file's budget, which `--faces` stands for.
const BUDGET: &str = "faces = 9000";

/// Makes the keeper's sculpts, their jobs and the set file, runs it, answers whether the figure is
/// ready. Or the plain coat only.
///
/// # Errors
/// [`Refusal`]; sculpts and jobs may be written by then.
pub fn run(args: &args::Demo, meter: &Meter) -> Result<bool, Refusal> {
    output::check_folder(&args.out, &[])?;
    if args.only_coat {
        let job = sewn(&PLAIN_COAT, args, meter)?;
        return run_order(&Order::of(job), &args.out, &args.common, meter);
    }
    woven_jersey(args, meter)?;
    for part in [&HEAD, &HAND, &GLOVE, &BOOT, &COAT] {
        sewn(part, args, meter)?;
    }
    let text = match args.faces {
        Some(faces) => FIGURE.replace(BUDGET, &format!("faces = {faces}")),
        None => FIGURE.to_owned(),
    };
    let set = args.out.join(SET);
    let figure = FigureFile::parse(&set, &text)?;
    files::write_whole(&set, text.as_bytes())?;
    figure::run_figure(&figure, &args.out, args.anew, &args.common, meter)
}

type Made = fn(&DemoOptions, &base::Task) -> Result<DemoSculpt, base::Cancelled>;

/// A part of the demo.
struct Part {
    name: &'static str,
    /// Its job and sculpt files, without extension.
    file: &'static str,
    sculpt: &'static str,
    make: Made,
    /// Triangles of its sculpt for each of the coat's.
    share: f64,
    symmetric: bool,
    adapt: f64,
    trims: fn() -> Vec<TrimSpec>,
    /// Name, file and clearance of what it is worn on beside other parts.
    on: Option<(&'static str, &'static str, f64)>,
}

const HEAD: Part = Part {
    name: "head",
    file: "head",
    sculpt: "head",
    make: demo::head,
    share: 0.15,
    symmetric: true,
    adapt: files::DEFAULT_ADAPT,
    trims: Vec::new,
    on: None,
};
const HAND: Part = Part {
    name: "left hand",
    file: "hand",
    sculpt: "hand",
    make: demo::hand,
    share: 0.12,
    symmetric: false,
    adapt: 0.2,
    trims: Vec::new,
    on: None,
};
const GLOVE: Part = Part {
    name: "left glove",
    file: "glove",
    sculpt: "wool",
    make: demo::glove,
    share: 0.2,
    symmetric: false,
    adapt: 0.2,
    trims: Vec::new,
    on: None,
};
const BOOT: Part = Part {
    name: "left boot",
    file: "boot",
    sculpt: "rubber",
    make: demo::boot,
    share: 0.2,
    symmetric: false,
    adapt: 0.2,
    trims: boot_trims,
    on: None,
};
const COAT: Part = Part {
    name: "oilskin coat",
    file: "coat",
    sculpt: "oilskin",
    make: demo::coat,
    share: 1.0,
    symmetric: true,
    adapt: files::DEFAULT_ADAPT,
    trims: coat_trims,
    on: Some(("jersey", JERSEY, 0.3)),
};

/// The coat by itself: neither trims nor anything beneath.
const PLAIN_COAT: Part = Part {
    trims: Vec::new,
    on: None,
    ..COAT
};

fn coat_trims() -> Vec<TrimSpec> {
    let cuff = TrimSpec::new("left cuff", TrimKind::Cuff, "left wrist", 1.2, 0.7);
    let collar = TrimSpec::new("collar", TrimKind::Collar, "neck", 2.5, 0.8);
    vec![cuff, collar]
}

fn boot_trims() -> Vec<TrimSpec> {
    vec![TrimSpec::new("rolled top", TrimKind::Cuff, "top", 1.6, 0.7)]
}

/// How a sculpt is made.
fn options(share: f64, args: &args::Demo) -> DemoOptions {
    DemoOptions {
        triangles: (share * f64::from(args.triangles)) as usize,
        ..DemoOptions::default()
    }
}

/// Makes a part's sculpt and writes it with its job, or keeps both where they would be the same.
fn sewn(part: &Part, args: &args::Demo, meter: &Meter) -> Result<JobFile, Refusal> {
    let options = options(part.share, args);
    let path = args.out.join(format!("{}.toml", part.file));
    let make = || {
        let sculpt = (part.make)(&options, meter.task())?;
        let job = JobFile::create(&path, &spec(part, &sculpt, args)?)?;
        Ok(written(part, &sculpt, &job))
    };
    made(part.sculpt, &options, args, make)?;
    Ok(JobFile::read(&path)?)
}

/// As [`sewn`] what the coat is worn over, which has no job.
fn woven_jersey(args: &args::Demo, meter: &Meter) -> Result<(), Refusal> {
    let options = options(JERSEY_SHARE, args);
    let make = || {
        let jersey = files::ply_bytes(&demo::jersey(&options, meter.task())?);
        Ok(vec![(JERSEY.to_owned(), jersey)])
    };
    made("jersey", &options, args, make)
}

/// Files by name with their content.
type Files = Vec<(String, Vec<u8>)>;

/// Makes a sculpt's files and writes them, all or none, unless they lie there by the same recipe of
/// the same program and nobody changed them.
fn made(
    sculpt: &str,
    options: &DemoOptions,
    args: &args::Demo,
    make: impl FnOnce() -> Result<Files, Refusal>,
) -> Result<(), Refusal> {
    let note = format!("{sculpt}-{NOTE}");
    let stamp = Stamp::of(&Sources {
        asked: format!("the demo's sculpt {sculpt}, {options:?}"),
        options: json!({ "only_coat": args.only_coat, "faces": own_faces(args) }),
        files: Vec::new(),
    });
    if !args.anew && stamp.kept(&args.out, &note).is_some() {
        return Ok(());
    }
    let all = make()?;
    output::write_all(&args.out, &all)?;
    let names: Vec<String> = all.into_iter().map(|(name, _)| name).collect();
    Ok(stamp.note(&args.out, &note, &names, &[])?)
}

/// Faces that the plain coat's job asks for; a figure's are asked for in its set file.
fn own_faces(args: &args::Demo) -> Option<u32> {
    args.faces.filter(|_| args.only_coat)
}

/// A part's job.
fn spec(part: &Part, sculpt: &DemoSculpt, args: &args::Demo) -> Result<JobSpec, Refusal> {
    let layer =
        |&(name, file, clearance): &(&str, &str, f64)| LayerSpec::new(name, file, clearance);
    let mut spec = JobSpec {
        units: "cm".to_owned(),
        symmetry: SymmetrySpec {
            plane: if part.symmetric {
                PlaneSpec::X
            } else {
                PlaneSpec::None
            },
            sides: Sides::Mirror,
        },
        density: DensitySpec {
            adapt: part.adapt,
            ..DensitySpec::default()
        },
        guides: sculpt.guides.iter().map(guide).collect(),
        trims: (part.trims)(),
        layers: part.on.iter().map(layer).collect(),
        ..JobSpec::new(part.name, PathBuf::from(format!("{}.ply", part.sculpt)))
    };
    if let Some(faces) = own_faces(args) {
        spec.set_faces(faces).map_err(|fault| Refusal::Option {
            option: "faces",
            fault,
        })?;
    }
    Ok(spec)
}

fn guide(guide: &DemoGuide) -> GuideSpec {
    GuideSpec {
        closed: guide.closed,
        count: guide.count,
        ..GuideSpec::new(
            &guide.name,
            GuideKind::of_word(guide.kind),
            guide.points.clone(),
        )
    }
}

/// Sculpt and job file.
fn written(part: &Part, sculpt: &DemoSculpt, job: &JobFile) -> Files {
    vec![
        (
            format!("{}.ply", part.sculpt),
            files::ply_bytes(&sculpt.mesh),
        ),
        (format!("{}.toml", part.file), job.text().into_bytes()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::args::{Args, Verb};
    use clap::Parser as _;
    use std::path::Path;
    use std::time::SystemTime;

    #[test]
    fn a_sculpt_is_kept_until_its_recipe_or_what_lies_there_differs_or_all_is_made_anew() {
        let name = format!("loopwright-sewn-{}", std::process::id());
        let out = std::env::temp_dir().join(name);
        let hand = |more: &[&str]| {
            let mut words = vec!["loopwright", "demo", "--quiet", "--out"];
            words.push(out.to_str().unwrap());
            words.extend(more);
            let Verb::Demo(args) = Args::parse_from(words).verb else {
                panic!("another verb");
            };
            sewn(&HAND, &args, &Meter::new(true)).unwrap().text()
        };
        let sculpt = out.join("hand.ply");
        let lies = |file: &Path| -> (Vec<u8>, SystemTime) {
            let at = std::fs::metadata(file).unwrap().modified().unwrap();
            (std::fs::read(file).unwrap(), at)
        };
        let small = ["--triangles", "10000"];
        let text = hand(&small);
        let first = lies(&sculpt);
        // The budget is the set file's, and threads change nothing.
        let more = ["--faces", "5000", "--threads", "1"];
        assert_eq!(hand(&[&small[..], &more].concat()), text);
        assert!(lies(&sculpt) == first, "it was made again");
        assert_eq!(hand(&[&small[..], &["--anew"]].concat()), text);
        let anew = lies(&sculpt);
        assert!(anew.0 == first.0 && anew.1 != first.1, "it was kept");
        for file in ["hand.ply", "hand.toml"] {
            std::fs::write(out.join(file), "changed by hand").unwrap();
            assert_eq!(hand(&small), text);
            assert!(lies(&sculpt).0 == first.0, "{file}");
        }
        hand(&["--triangles", "400000"]);
        assert!(
            lies(&sculpt).0 != first.0,
            "another recipe, the same sculpt"
        );
        std::fs::remove_dir_all(&out).unwrap();
    }
}
