//! Dose grids whose planes are stored from the far end to the near one (offsets falling from 0 to
//! −h): the same voxels as the same dose stored upwards, so the same numbers to the last digit, for
//! one grid, beams that add up, several grids of one plan, regions, and frames of reference. Sums of
//! plans stand in `sums`.

use tidydose_case::{Decisions, FrameLink};

use super::*;
use crate::archive::by_name;
use crate::phantom::dicom::{Registration, uid};

/// Every value of the only case: structures and regions, by name.
fn everything(measured: &Measured) -> BTreeMap<String, Outcome> {
    assert_eq!(left_out(measured), None, "{:#?}", measured.findings);
    let analysis = measured.analyses.values().next().unwrap();
    let mut out = BTreeMap::new();
    for row in &analysis.measurements {
        out.insert(format!("{} {}", row.roi_number, row.metric), row.outcome.clone());
    }
    for row in &analysis.regions {
        out.insert(format!("{} {}", row.region, row.metric), row.outcome.clone());
    }
    assert!(out.values().filter(|o| o.value.is_some()).count() > 4, "{out:#?}");
    out
}

/// The whole list, with regions.
fn all_metrics() -> Settings {
    Settings { metrics: metrics::List::Basic.metrics(), ..Settings::default() }
}

#[test]
fn one_grid_and_the_regions_around_it() {
    let mut course = course(1);
    let organ = Solid::ball([CENTRE[0] + 2.0, CENTRE[1], CENTRE[2]], 15.0);
    let organ = Roi::new(2, "Brain", "ORGAN").outlining(&organ, &PlaneStack::axial(2.0, 0.0), 60);
    course.set.rois.push(organ);
    let upward = everything(&course.measure(&all_metrics()));
    assert!(upward.keys().any(|name| name.starts_with("Brain-targets V12Gy")));
    course.dose = course.dose.stored_backwards();
    assert_eq!(everything(&course.measure(&all_metrics())), upward);
}

/// One beam upwards and one from the far end have the same voxel centres.
#[test]
fn beams_that_add_up() {
    let beams = [1, 2].map(|n: i32| {
        let field = &beams()[usize::try_from(n - 1).unwrap()];
        let mut dose = dose(&format!("beam{n}"), field, &lattice(), "BEAM");
        dose.fraction_group = Some(1);
        dose.beams = vec![n];
        dose
    });
    let measure = |doses: &[Dose]| metrics_of(&with_doses(&course(1), doses).measure(&settings()));
    let [one, two] = beams.clone();
    let mixed = measure(&[one, two.stored_backwards()]);
    assert_eq!(mixed, measure(&beams));
    assert_same(&mixed, &metrics_of(&course(1).measure(&settings())));
}

/// The same dose under two names, once from each end, counts once.
#[test]
fn a_copy_from_the_other_end_is_a_copy() {
    let doses = [dose("a", &whole(), &lattice(), "PLAN"), dose("b", &whole(), &lattice(), "PLAN")];
    let [a, b] = doses.clone();
    let mixed = with_doses(&course(1), &[a, b.stored_backwards()]).measure(&settings());
    assert!(mixed.has(Code::DoseRepeated), "{:#?}", mixed.findings);
    let upward = with_doses(&course(1), &doses).measure(&settings());
    assert_eq!(metrics_of(&mixed), metrics_of(&upward));
}

/// A fine grid within a coarse one, and two matrices side by side: which grid holds a structure, and
/// whether the grids agree, does not depend on the order of stored planes.
#[test]
fn several_grids_of_one_plan() {
    let far = [CENTRE[0] + 60.0, CENTRE[1], CENTRE[2]];
    let field = Field::Sum(vec![whole(), Field::gaussian(far, 20.0, 6.0)]);
    let around = |centre, half, spacing| Lattice::around(centre, [half; 3], spacing);
    for (one, two) in [
        (around(CENTRE, 40.0, 4.0), around(CENTRE, 14.0, 1.0)),
        (around(CENTRE, 22.0, 2.0), around(far, 20.0, 2.0)),
    ] {
        let mut course = course(1);
        course.set.rois.push(ball(2, "PTV2", far));
        let doses = [dose("a", &field, &one, "PLAN"), dose("b", &field, &two, "PLAN")];
        let measure = |backwards: [bool; 2]| {
            let mut doses = doses.clone();
            for (dose, backwards) in doses.iter_mut().zip(backwards) {
                if backwards {
                    *dose = dose.clone().stored_backwards();
                }
            }
            let measured = with_doses(&course, &doses).measure(&settings());
            assert_eq!(left_out(&measured), None, "{:#?}", measured.findings);
            let analysis = measured.analyses.values().next().unwrap();
            [by_name(analysis, 1), by_name(analysis, 2)]
        };
        let upward = measure([false, false]);
        assert!(upward[0]["D98%[Gy]"].value.is_some(), "{upward:#?}");
        for backwards in [[true, false], [false, true], [true, true]] {
            assert_eq!(measure(backwards), upward, "{backwards:?}");
        }
    }
}

/// Structures and dose in different frames: by a registration, and by the user's word where the
/// coordinates allow it.
#[test]
fn frames_of_reference() {
    let mut course = course(1);
    course.dose.header.frame_uid = uid("reversed/dose frame");
    let still = [1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0];
    let measure = |course: &Course, registered: bool| {
        let archive = Archive::new();
        archive.put("one", course);
        let mut decisions = Decisions::default();
        if registered {
            let mut header = Header::new(PATIENT, "reversed registration");
            header.frame_uid = course.dose.header.frame_uid.clone();
            let into = Registration::rigid(header, &course.set.header.frame_uid, still);
            archive.add("registration.dcm", &into.bytes().unwrap());
        } else {
            let open = archive.measure(&settings());
            refused(&open, Code::LinkFrameMismatch, "1 of 1 structures have their middle inside");
            decisions.same_frame.insert(open.cases[0].id.clone());
        }
        archive.measure_decided(&settings(), &decisions)
    };
    for (registered, link) in [(true, FrameLink::Registration), (false, FrameLink::User)] {
        let upward = measure(&course, registered);
        assert_eq!(upward.cases[0].frames.link, link);
        let mut backwards = course.clone();
        backwards.dose = backwards.dose.stored_backwards();
        assert_eq!(metrics_of(&measure(&backwards, registered)), metrics_of(&upward), "{link:?}");
    }
}
