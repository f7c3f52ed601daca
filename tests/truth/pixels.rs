//! Outlines as drawing programs export them: traced around the pixels of a mask. Balls in the dose of
//! `balls`, and hollow, lobed and slanted solids, at random places of the pixels, of the slices and of
//! the dose grid. The truth is that of the solid from which the mask was made: a pixel is inside when
//! its centre is (common practice).

use tidydose_analyse::Outlines;

use super::balls;
use super::bench::{Setup, direction, placement};
use super::score::{Scores, compare, gather, held_share, print, spread};
use crate::phantom::field::Field;
use crate::phantom::solid::Solid;
use crate::phantom::solid::mask::{Mask, Trace};

/// Corners of pixels are in another place for each size.
fn mask(pixel: f64, trace: Trace) -> Mask {
    Mask::new(pixel, [0.37 * pixel, 0.11 * pixel], trace)
}

fn score_of(diameter: f64, mask: Mask, change: impl Fn(&mut Setup) + Sync + Send) -> Scores {
    balls::score(diameter, PLACEMENTS, |setup| {
        setup.drawn = Some(mask.outlines(&setup.solid, &setup.planes));
        change(setup);
    })
}

const fn as_drawn(setup: &mut Setup) {
    setup.settings.outlines = Outlines::AsDrawn;
}

/// Placements of each kind.
const PLACEMENTS: u32 = 20;

/// Balls in pixels, measured with something changed.
pub(super) fn balls_of(
    diameter: f64,
    pixel: f64,
    change: impl Fn(&mut Setup) + Sync + Send,
) -> Scores {
    score_of(diameter, mask(pixel, Trace::Edges), change)
}

fn mean_percent(scores: &Scores, metric: &str) -> f64 {
    spread(&scores[metric])[0]
}

fn assert_held(title: &str, scores: &Scores) {
    print(title, scores);
    for (name, s) in scores {
        assert!(held_share(s) >= 0.95, "{title}, {name}: {:.0} % held", 100.0 * held_share(s));
    }
}

/// Bounds hold the truth, drawn either way, and a coverage dose is off by at most a third of what the
/// steps make of it where the ball is eight pixels wide or more; a quarter on average over sizes.
#[test]
fn balls_traced_along_pixel_edges() {
    let mut shares = Vec::new();
    for (diameter, pixel) in [(4.4, 1.0), (8.0, 1.0), (12.0, 1.0), (4.4, 0.5), (8.0, 0.5)] {
        let title = format!("{diameter} mm in pixels of {pixel} mm");
        let smoothed = balls_of(diameter, pixel, |_| ());
        assert_held(&title, &smoothed);
        let drawn = balls_of(diameter, pixel, as_drawn);
        assert_held(&format!("{title}, as drawn"), &drawn);
        let share = mean_percent(&smoothed, "D95%[Gy]") / mean_percent(&drawn, "D95%[Gy]");
        println!("{title}: {share:.2} of the error of D95%");
        if diameter / pixel >= 8.0 {
            assert!(share.abs() < 1.0 / 3.0, "{title}: {share:.2} of the error is left");
            shares.push(share.abs());
            let volume = mean_percent(&smoothed, "Volume[cc]");
            assert!(volume.abs() < 0.6, "{title}: volumes are off by {volume:.2} % on average");
        }
    }
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    assert!(mean < 0.25, "{mean:.2} of the error is left on average");
}

/// The same mask, traced in another way or turned against the patient.
#[test]
fn balls_traced_in_other_ways() {
    for (diameter, pixel, trace, turned) in [
        (8.0, 1.0, Trace::Middles, 0.0),
        (8.0, 1.2, Trace::Middles, 0.4),
        (8.0, 1.0, Trace::Edges, 0.4),
        (8.0, 0.5, Trace::Thinned, 0.0),
    ] {
        let mask = Mask { turned, ..mask(pixel, trace) };
        let title = format!("{diameter} mm, {trace:?} of {pixel} mm, turned by {turned}");
        assert_held(&title, &score_of(diameter, mask, |_| ()));
    }
    // Rounded to a tenth of a millimetre, as some files are.
    let rounded = Mask { rounded: 0.1, ..mask(0.9766, Trace::Edges) };
    assert_held("rounded", &score_of(8.0, rounded, |_| ()));
}

/// Middles of edges stand for the same mask as the edges: the numbers are the same.
#[test]
fn two_traces_of_one_mask_give_one_number() {
    let by = |trace| score_of(9.0, mask(1.0, trace), |_| ());
    let (edges, middles) = (by(Trace::Edges), by(Trace::Middles));
    for (name, scores) in &edges {
        for (a, b) in scores.iter().zip(&middles[name]) {
            // The edge length of cells goes by the outlines as drawn: twice the chance of single
            // cells, 0.04 % of a value.
            assert!((a.error - b.error).abs() < 1e-3, "{name}: {a:?} {b:?}");
        }
    }
}

/// A kind of solid with its words.
type Named = (&'static str, fn(u32) -> Solid);

/// Holes stay open and necks closed: volumes of solids that are no ball.
#[test]
fn hollow_lobed_and_slanted_solids_keep_their_volume() {
    let solids: [Named; 4] = [
        ("a shell", |i| Solid::Shell { centre: placement(i), outer: 8.0, inner: 6.0 }),
        ("two lobes", |i| {
            let (c, d) = (placement(i), direction(i + 1));
            let at = |t: f64| [0, 1, 2].map(|a| c[a] + t * d[a]);
            Solid::TwoBalls { centres: [at(-3.0), at(3.0)], radii: [4.0, 4.5] }
        }),
        ("a strand", |i| {
            let (c, d) = (placement(i), direction(i + 1));
            let at = |t: f64| [0, 1, 2].map(|a| c[a] + t * d[a]);
            Solid::Capsule { ends: [at(-8.0), at(8.0)], radius: 2.0 }
        }),
        ("a slanted ellipsoid", |i| Solid::Ellipsoid {
            centre: placement(i),
            axes: crate::phantom::solid::axes_along(direction(i + 1)),
            semi: [3.0, 4.0, 7.0],
        }),
    ];
    for (title, solid) in solids {
        let scores = gather(PLACEMENTS, |i| {
            let solid = solid(i);
            let field =
                Field::Linear { centre: solid.centre(), dose: 30.0, gradient: [0.5, 0.2, 0.1] };
            let exact = [("Volume[cc]", Some(solid.volume() / 1000.0))];
            let mut setup = Setup::new(solid, field, 16.0);
            setup.drawn = Some(mask(0.7, Trace::Edges).outlines(&setup.solid, &setup.planes));
            compare(&setup.measure(), &exact)
        });
        assert_held(title, &scores);
        let volume = mean_percent(&scores, "Volume[cc]");
        assert!(volume.abs() < 1.0, "{title}: volumes are off by {volume:.2} % on average");
    }
}

/// The note tells the pixel size; smooth outlines have none and do not depend on the setting.
#[test]
fn only_pixels_are_smoothed() {
    let field = Field::Linear { centre: [0.0; 3], dose: 30.0, gradient: [0.5, 0.2, 0.1] };
    let mut setup = Setup::new(Solid::ball([0.2, 0.1, 0.3], 5.0), field, 12.0);
    let smooth = setup.measure();
    setup.settings.outlines = Outlines::AsDrawn;
    assert_eq!(smooth, setup.measure());
    assert!(!setup.notes().contains("outline-from-pixels"), "{}", setup.notes());
    setup.drawn = Some(mask(0.9766, Trace::Edges).outlines(&setup.solid, &setup.planes));
    let notes = setup.notes();
    assert!(notes.contains("outline-from-pixels"), "{notes}");
    assert!(notes.contains("along the edges of pixels of 0.977 by 0.977 mm"), "{notes}");
}
