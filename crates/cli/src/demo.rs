//! `loopwright demo`: the keeper's oilskin coat, from sculpt to report.

use std::path::{Path, PathBuf};

use demo::{DemoGuide, DemoOptions, DemoSculpt};
use files::{DensitySpec, GuideKind, GuideSpec, JobFile, JobSpec, PlaneSpec, Sides, SymmetrySpec};

use crate::args;
use crate::job::Order;
use crate::output;
use crate::progress::Meter;
use crate::refusal::Refusal;
use crate::run::run_order;

/// The sculpt's file.
const SCULPT: &str = "oilskin.ply";
/// The job's file.
const JOB: &str = "coat.toml";

/// Makes the coat and its job file, runs it, answers whether the surface is ready.
///
/// # Errors
/// [`Refusal`]; sculpt and job may be written by then.
pub fn run(args: &args::Demo, meter: &Meter) -> Result<bool, Refusal> {
    output::check_folder(&args.out, &[])?;
    let options = DemoOptions {
        triangles: args.triangles as usize,
        ..DemoOptions::default()
    };
    let coat = demo::coat(&options, meter.task())?;
    let path = args.out.join(JOB);
    let job = JobFile::create(&path, &spec(&coat, args.faces)?)?;
    write(&coat, &job, &args.out)?;
    drop(coat);
    run_order(&Order::of(job), &args.out, &args.common, meter)
}

/// The coat's job.
fn spec(coat: &DemoSculpt, faces: u32) -> Result<JobSpec, Refusal> {
    let mut spec = JobSpec {
        units: "cm".to_owned(),
        symmetry: SymmetrySpec {
            plane: PlaneSpec::X,
            sides: Sides::Mirror,
        },
        density: DensitySpec::default(),
        guides: coat.guides.iter().map(guide).collect(),
        ..JobSpec::new("oilskin coat", PathBuf::from(SCULPT))
    };
    spec.set_faces(faces).map_err(|fault| Refusal::Option {
        option: "faces",
        fault,
    })?;
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

/// Writes sculpt, what is worn beneath it, and the job file.
fn write(coat: &DemoSculpt, job: &JobFile, out: &Path) -> Result<(), Refusal> {
    let mut all = vec![
        (SCULPT.to_owned(), files::ply_bytes(&coat.mesh)),
        (JOB.to_owned(), job.text().into_bytes()),
    ];
    for (name, mesh) in &coat.under {
        let name = format!("{}.ply", name.replace(' ', "-"));
        all.push((name, files::ply_bytes(mesh)));
    }
    output::write_all(out, &all)
}
