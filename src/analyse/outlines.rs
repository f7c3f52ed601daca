//! Where a structure lies that nobody has named, or about which something is asked: its outline in the
//! contour plane nearest to its middle, among the organs and targets already known. Shows contours as
//! they were drawn and measures nothing.

use super::picture::{ALONG, Drawn, Picture, Seen, View};
use super::shape::Shape;
use super::structure::{self, Solid};
use tidydose_case::{Case, Role};
use tidydose_rt::finding::Subject;
use tidydose_rt::{Roi, StructureSet};

/// One structure among the known ones.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// The lines, about the middle of the structure.
    pub picture: Picture,
    /// Half of what the picture shows, mm.
    pub reach_mm: f64,
}

/// A brain is smaller than this. What is larger may be the outline of a head, whose surface is a
/// face, and stays out of pictures as the outline itself does.
const LARGEST_CC: f64 = 2000.0;
/// Half of what is shown, mm, at least and at most: a brain is some 70 mm wide to each side.
const REACH_MM: [f64; 2] = [55.0, 95.0];

/// The outlines of these structures of a case, with the reason where one has none.
#[must_use]
pub fn outlines(
    case: &Case,
    set: &StructureSet,
    wanted: &[i64],
) -> Vec<(i64, Result<Outline, &'static str>)> {
    let subject = Subject { case: Some(case.id.clone()), ..Subject::default() };
    let built = |roi: &Roi| structure::build(roi, &subject, &mut Vec::new()).ok();
    let mut known: Vec<(&Roi, Solid)> = Vec::new();
    for roi in set.rois.iter().filter(|roi| is_known(case, roi.header.number)) {
        known.extend(built(roi).map(|solid| (roi, solid)));
    }
    let mut all = Vec::new();
    for number in wanted {
        let roi = set.rois.iter().find(|roi| roi.header.number == *number);
        let solid = roi.and_then(|roi| Some((roi, built(roi)?)));
        let outline = match solid {
            None => Err("it has no closed contours"),
            Some((roi, solid)) => outline(roi, &solid, &known),
        };
        all.push((*number, outline));
    }
    all
}

/// Whether a structure is drawn around others: an organ that has its name, or a target.
fn is_known(case: &Case, number: i64) -> bool {
    case.name(number).is_some_and(|named| {
        let organ = named.role == Role::Organ && named.standard.is_some();
        // The surface of a head is a face.
        (organ || named.role.is_target()) && named.standard.as_deref() != Some("Skin")
    })
}

fn outline(roi: &Roi, solid: &Solid, known: &[(&Roi, Solid)]) -> Result<Outline, &'static str> {
    let number = roi.header.number;
    let shape = Shape::of(number, solid).ok_or("it has no volume")?;
    if shape.volume_cc > LARGEST_CC {
        return Err("it is larger than a brain and may be the outline of the head");
    }
    let size = shape.extent_mm.into_iter().take(2).fold(0.0, f64::max);
    let reach_mm = (0.7 * size).clamp(REACH_MM[0], REACH_MM[1]);
    let mut drawn = vec![Drawn { roi_number: number, stack: &solid.stack }];
    for (other, solid) in known {
        // What lies in another frame of reference would be drawn at a wrong place.
        if other.header.number != number && other.header.frame == roi.header.frame {
            drawn.push(Drawn { roi_number: other.header.number, stack: &solid.stack });
        }
    }
    let seen = Seen {
        roi_number: number,
        stack: &solid.stack,
        view: View::Middle,
        axis: ALONG,
        point: shape.centre_mm,
    };
    let picture = seen.outlines(&drawn, reach_mm).ok_or("it has no contour plane")?;
    Ok(Outline { picture, reach_mm })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{ball, case_of, set_of};

    #[test]
    fn a_structure_is_drawn_among_the_known_ones_that_reach_its_plane() {
        let case = case_of(&["Brain", "x1", "Eye_L", "x2", "x3"]);
        let balls = [
            ball(1, [0.0; 3], 65.0),
            ball(2, [10.0, 20.0, -30.0], 9.0),
            ball(3, [32.0, -70.0, 20.0], 12.0),
            ball(4, [0.0, 0.0, -30.0], 9.0),
            ball(5, [0.0; 3], 80.0),
        ];
        let seen = outlines(&case, &set_of(balls.to_vec()), &[2, 5, 9]);
        let [(2, Ok(small)), (5, Err(head)), (9, Err(none))] = seen.as_slice() else {
            panic!("{seen:?}")
        };
        let drawn: Vec<_> = small.picture.lines.iter().map(|l| l.roi_number).collect();
        assert_eq!(drawn, [Some(2), Some(1)], "the eye ends above, x2 has no name");
        assert_eq!((small.picture.plane_mm, small.picture.directions), (-30.0, ['L', 'P']));
        // The picture is about the middle of the structure: its circle has a radius of 9 mm there.
        for [x, y] in &small.picture.lines[0].points {
            assert!((x.hypot(*y) - 9.0).abs() < 0.5 + 0.01, "{x} {y}");
        }
        assert!(small.picture.lines[0].points.len() < 72, "thinned");
        assert!(head.contains("outline of the head") && none.contains("no closed contours"));
    }
}
