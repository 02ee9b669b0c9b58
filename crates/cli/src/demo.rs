//! `loopwright demo`: the keeper's oilskin coat, from sculpt to report.

use std::error::Error;
use std::path::{Path, PathBuf};

use demo::{DemoOptions, DemoSculpt};
use files::{
    DensitySpec, GuideKind, GuideSpec, JobFile, JobSpec, PlaneSpec, SculptSpec, Sides, Size, SymmetrySpec,
};

use crate::args;
use crate::progress;
use crate::run::run_job;

/// Makes the coat and its job file, runs it, answers whether the surface is ready.
pub fn run(args: &args::Demo) -> Result<bool, Box<dyn Error>> {
    let task = progress::task(args.common.quiet);
    let coat = demo::coat(&DemoOptions { triangles: args.triangles, ..DemoOptions::default() }, &task)?;
    progress::done(args.common.quiet);
    let job = write_demo(&coat, &args.out, args.faces)?;
    run_job(&job, &args.out, &args.common)
}

/// Writes sculpt, under-layers and job file.
fn write_demo(coat: &DemoSculpt, out: &Path, faces: u32) -> Result<JobFile, Box<dyn Error>> {
    let spec = JobSpec {
        name: "oilskin coat".to_owned(),
        units: "cm".to_owned(),
        sculpt: SculptSpec { file: PathBuf::from("oilskin.ply"), part: None },
        symmetry: SymmetrySpec { plane: PlaneSpec::X, sides: Sides::Mirror },
        density: DensitySpec { size: Size::Faces(faces), adapt: 0.3 },
        guides: coat
            .guides
            .iter()
            .map(|g| GuideSpec {
                name: g.name.clone(),
                kind: match g.kind {
                    "opening" => GuideKind::Opening,
                    "ring" => GuideKind::Ring,
                    _ => GuideKind::Line,
                },
                closed: g.closed,
                count: g.count,
                points: g.points.clone(),
                line: 0,
            })
            .collect(),
    };
    let job_path = out.join("coat.toml");
    let text = JobFile::from_spec(&spec);
    let mut all = vec![
        ("oilskin.ply".to_owned(), files::ply_bytes(&coat.mesh)),
        ("coat.toml".to_owned(), text.clone().into_bytes()),
    ];
    for (name, mesh) in &coat.under {
        all.push((format!("{}.ply", name.replace(' ', "_")), files::ply_bytes(mesh)));
    }
    let files: Vec<(&str, &[u8])> = all.iter().map(|(n, b)| (n.as_str(), b.as_slice())).collect();
    files::write_all_or_none(out, &files)?;
    Ok(JobFile::parse(&job_path, &text)?)
}
