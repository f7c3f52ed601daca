//! Balls under a radial dose about their own centre.

use super::bench::{Setup, placement};
use crate::phantom::closed_form::{Radial, RadialBall};
use crate::phantom::field::Field;
use crate::phantom::solid::Solid;

#[test]
fn explore() {
    for diameter in [3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0] {
        let radius = diameter / 2.0;
        let dose = Radial::from_fall_off(20.0, radius, 1.37 + 0.23 * radius);
        let rx = dose.dose(radius + 0.15);
        let truth = RadialBall { dose: dose.clone(), radius, distance: 0.0 };
        let ix = truth.indices(rx);
        let mut stats: std::collections::BTreeMap<String, Vec<(f64, f64, bool)>> =
            Default::default();
        let mut secs = 0.0;
        for i in 0..50 {
            let p = placement(i);
            let solid = Solid::ball(p, radius);
            let field = Field::Radial { centre: p, dose: dose.clone() };
            let mut setup = Setup::new(solid, field, radius + 9.0 + radius * 0.7);
            setup.prescription_gy = Some(rx);
            let t = std::time::Instant::now();
            let got = setup.measure();
            secs += t.elapsed().as_secs_f64();
            let exact = [
                ("Volume[cc]", Some(truth.volume() / 1000.0)),
                ("V20Gy[cc]", Some(truth.volume_at(20.0) / 1000.0)),
                ("D99%[Gy]", Some(truth.dose_at_share(0.99))),
                ("D95%[Gy]", Some(truth.dose_at_share(0.95))),
                ("D50%[Gy]", Some(truth.dose_at_share(0.50))),
                ("D2%[Gy]", Some(truth.dose_at_share(0.02))),
                ("D0.03cc[Gy]", truth.dose_at_volume(30.0)),
                ("Mean[Gy]", Some(truth.mean())),
                ("Max[Gy]", Some(dose.dose(0.0))),
                ("Min[Gy]", Some(dose.dose(radius))),
                ("PIV[cc]", Some(ix.isodose / 1000.0)),
                ("PIV50%[cc]", Some(ix.half_isodose / 1000.0)),
                ("Coverage", Some(ix.coverage())),
                ("PaddickConformity", Some(ix.paddick())),
                ("PaddickGradient", Some(ix.gradient())),
            ];
            for (name, want) in exact {
                let o = &got[name];
                match (want, o.value) {
                    (Some(w), Some(v)) => {
                        let width =
                            (o.high.unwrap() - o.low.unwrap()) / 2.0 / (v - w).abs().max(1e-12);
                        let inside = o.low.unwrap() <= w && w <= o.high.unwrap();
                        stats.entry(name.into()).or_default().push((v / w - 1.0, width, inside));
                    }
                    (None, None) => {}
                    other => println!("{diameter} {name} {other:?} {o:?}"),
                }
            }
        }
        println!("--- {diameter} mm, {:.1} ms each", secs * 20.0);
        for (name, s) in stats {
            let n = s.len() as f64;
            let mean = s.iter().map(|x| x.0).sum::<f64>() / n * 100.0;
            let lo = s.iter().map(|x| x.0).fold(f64::INFINITY, f64::min) * 100.0;
            let hi = s.iter().map(|x| x.0).fold(f64::NEG_INFINITY, f64::max) * 100.0;
            let mut w: Vec<f64> = s.iter().map(|x| x.1).collect();
            w.sort_by(f64::total_cmp);
            let c = s.iter().filter(|x| x.2).count();
            println!(
                "{name:20} {mean:8.3} [{lo:7.3},{hi:7.3}]  cover {c}/{n}  U/err {:.1}",
                w[w.len() / 2]
            );
        }
    }
}

#[test]
fn profile() {
    use tidydose::analyse::bounds::*;
    use tidydose::analyse::*;
    use tidydose::dose::*;
    let radius = 2.0;
    let dose = Radial::from_fall_off(20.0, radius, 1.37 + 0.23 * radius);
    let p = placement(3);
    let mut setup = Setup::new(
        Solid::ball(p, radius),
        Field::Radial { centre: p, dose: dose.clone() },
        radius + 9.0 + radius * 0.7,
    );
    setup.prescription_gy = Some(dose.dose(radius + 0.15));
    let t = std::time::Instant::now();
    let set = setup.structure_set();
    println!("sections {:?}", t.elapsed());
    let t = std::time::Instant::now();
    let d = setup.dose();
    println!("dose {:?}", t.elapsed());
    let t = std::time::Instant::now();
    let f = DoseField::new(d, Interpolation::CubicBSpline);
    println!("field {:?}", t.elapsed());
    let g = f.thinned();
    let t = std::time::Instant::now();
    let solid = structure::build(&set.rois[0], None, &Default::default(), &mut vec![]).unwrap();
    println!("solid {:?} pitch {}", t.elapsed(), solid.pitch_mm);
    let t = std::time::Instant::now();
    let occ = solid.occupancy(Ends::ClosedCaps, 1.0, Default::default());
    println!("occupancy {:?} {} cells", t.elapsed(), occ.cells());
    let t = std::time::Instant::now();
    let s = sample(&f, &occ);
    println!("sample {:?} {}", t.elapsed(), s.parts.len());
    let t = std::time::Instant::now();
    let _ = Dvh::of(s);
    println!("dvh {:?}", t.elapsed());
    let t = std::time::Instant::now();
    let m = IsodoseMap::new(&f);
    println!("map {:?}", t.elapsed());
    for l in [20.0, 10.0] {
        let t = std::time::Instant::now();
        let _ = m.whole(l);
        println!("whole {l} {:?}", t.elapsed());
    }
    let t = std::time::Instant::now();
    let _ = Views::of(
        &solid,
        Ends::ClosedCaps,
        Some(Fields { nominal: &f, thinned: &g, step_gy: 1e-6 }),
        None,
    );
    println!("views {:?}", t.elapsed());
}

#[test]
fn big() {
    for grid in [1.0, 2.0] {
        for ends in [tidydose::analyse::Ends::HalfSlice, tidydose::analyse::Ends::ClosedCaps] {
            let p = placement(3);
            let dose = Radial::from_fall_off(20.0, 7.0, 1.37 + 0.23 * 7.0);
            let mut setup = Setup::new(
                Solid::ball(p, 40.0),
                Field::Radial { centre: p, dose: dose.clone() },
                48.0,
            );
            setup.lattice = crate::phantom::field::Lattice::around(p, [48.0; 3], grid);
            setup.planes.spacing = 3.0;
            setup.settings.ends = ends;
            let got = setup.measure();
            for d in [5.0, 12.0, 20.0] {
                let o = &got[&format!("V{d}Gy[cc]")];
                let exact = dose.isodose_volume(d) / 1000.0;
                println!(
                    "{grid} {ends:?} V{d} {:.4}% {:?}",
                    (o.value.unwrap() / exact - 1.0) * 100.0,
                    o
                );
            }
        }
    }
}
