use super::*;

const JOB: &str = "job = 1\nsculpt.file = 'a.ply'\n\n[lining]\nthickness = 0.4 # oilskin\n\n[shading]\nhard_angle = 45\n";

#[test]
fn lining_and_shading_are_read_and_changed_in_place() {
    let mut file = JobFile::parse("coat.toml".as_ref(), JOB).unwrap();
    let spec = file.spec().clone();
    assert_eq!(spec.lining.unwrap().thickness, 0.4);
    assert_eq!(spec.shading.hard_angle, 45.0);
    let mut changed = spec.clone();
    changed.lining = Some(LiningSpec { thickness: 0.6 });
    file.update(changed).unwrap();
    assert!(
        file.text().contains("thickness = 0.6 # oilskin"),
        "{}",
        file.text()
    );
    let mut without = spec;
    without.lining = None;
    without.shading = ShadingSpec::default();
    file.update(without).unwrap();
    assert!(!file.text().contains("lining") && file.text().contains("hard_angle = 60"));
}

#[test]
fn what_cannot_be_is_told_with_its_line() {
    for (old, new, says) in [
        ("thickness = 0.4", "thickness = 0", "a length above 0"),
        ("thickness = 0.4", "", "thickness"),
        (
            "hard_angle = 45",
            "hard_angle = 200",
            "from 0 to 180 degrees",
        ),
        ("hard_angle = 45", "angle = 45", "unknown key 'angle'"),
    ] {
        let error = JobFile::parse("coat.toml".as_ref(), &JOB.replace(old, new)).unwrap_err();
        assert!(error.to_string().contains(says), "{error}");
    }
}
