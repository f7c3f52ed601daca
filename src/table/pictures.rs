//! Table `pictures`: the lines of the pictures of organs and targets, in mm on the page, so that a
//! picture can be drawn from tables alone.

use std::borrow::Cow;
use std::fmt::Write;

use strum::VariantNames;

use super::column::{Column, Sheet, borrowed, count};
use super::structure_names::{shown_name, structure_id};
use super::study::{Measured, Study};
use super::table::Table;
use tidydose_analyse::picture::{LineKind, Orientation, Picture, PictureLine, View};
use tidydose_case::{NamedRoi, Role};

pub(super) const TABLE: Table = Table {
    name: "pictures",
    grain: "one line of the picture of a structure in one plane",
    key: &["plan_id", "roi_number", "centred_on", "line"],
    by_case: true,
    sheet,
};

struct PictureEntry<'a> {
    measured: Measured<'a>,
    picture: &'a Picture,
    number: usize,
    line: &'a PictureLine,
}

impl<'a> PictureEntry<'a> {
    /// The structure that the picture is about.
    fn name(&self) -> Option<&'a NamedRoi> {
        self.measured.name(self.picture.roi_number)
    }

    /// The structure whose contour the line is.
    fn drawn(&self) -> Option<&'a NamedRoi> {
        self.measured.name(self.line.roi_number?)
    }
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut columns = subject_columns();
    columns.extend(line_columns());
    Sheet::new(columns, study.measured().into_iter().flat_map(rows_of_case).collect())
}

fn rows_of_case(measured: Measured<'_>) -> Vec<PictureEntry<'_>> {
    let mut pictures: Vec<_> = measured.analysis.map_or(&[][..], |a| &a.pictures).iter().collect();
    pictures.sort_by_key(|p| (p.roi_number, p.view, p.orientation));
    let lines = pictures.into_iter().flat_map(|picture| {
        let numbered = picture.lines.iter().zip(1..);
        numbered.map(move |(line, number)| PictureEntry { measured, picture, number, line })
    });
    lines.collect()
}

fn subject_columns<'a>() -> Vec<Column<PictureEntry<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r| {
            r.measured.patient().map(Cow::Borrowed)
        }),
        Column::text(
            "plan_id",
            "the plan, as in table plans (where there is none, its dose or structure set)",
            |r| borrowed(r.measured.case.id.as_str()),
        ),
        Column::text("structure_id", "the structure that the picture is about", |r| {
            Some(Cow::Owned(structure_id(r.measured.case, r.picture.roi_number)))
        }),
        Column::integer("roi_number", "", "ROI Number (3006,0022) of it", |r| {
            Some(r.picture.roi_number)
        }),
        Column::text("structure", "its standard name (TG-263), else the original name", |r| {
            r.name().and_then(|n| borrowed(shown_name(n)))
        }),
        Column::word("centred_on", "what the picture is centred on", View::VARIANTS, |r| {
            borrowed(r.picture.view.word())
        }),
        Column::word("orientation", "how its plane lies", Orientation::VARIANTS, |r| {
            borrowed(r.picture.orientation.word())
        }),
        Column::boolean(
            "as_drawn",
            "whether the outline of the structure was drawn in this plane; else the plane cuts \
             across the slices, which show as steps",
            |r| Some(r.picture.as_drawn),
        ),
        Column::text("directions", "patient directions to the right and down (L R A P H F)", |r| {
            Some(Cow::Owned(r.picture.directions.iter().collect()))
        }),
        Column::real("plane_mm", "mm", "position of the plane along its normal", |r| {
            Some(r.picture.plane_mm)
        }),
        Column::real("off_plane_mm", "mm", "how far the point of interest lies off it", |r| {
            Some(r.picture.off_plane_mm)
        }),
    ]
}

fn line_columns<'a>() -> Vec<Column<PictureEntry<'a>>> {
    vec![
        Column::integer("line", "", "number of the line in the picture", |r| count(r.number)),
        Column::word("kind", "what the line is", LineKind::VARIANTS, |r| {
            borrowed(r.line.kind.word())
        }),
        Column::text("drawn", "structure of a contour; missing for other lines", |r| {
            r.drawn().and_then(|n| borrowed(shown_name(n)))
        }),
        Column::word("drawn_role", "what that structure is for", Role::VARIANTS, |r| {
            r.drawn().and_then(|n| borrowed(n.role.word()))
        }),
        Column::real("dose_gy", "Gy", "dose of an isodose line or at the mark", |r| r.line.dose_gy),
        Column::text("points", "x y of each point right of and below the centre, mm", |r| {
            Some(Cow::Owned(points(&r.line.points)))
        }),
    ]
}

/// `x y x y ...` to a hundredth of a millimetre.
fn points(list: &[[f64; 2]]) -> String {
    let mut text = String::with_capacity(list.len() * 12);
    for [x, y] in list {
        let gap = if text.is_empty() { "" } else { " " };
        // Writing into a text cannot fail; adding 0 turns a negative zero into a plain one.
        let _ = write!(text, "{gap}{} {}", hundredths(*x), hundredths(*y));
    }
    text
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Cell;
    use crate::example::Example;

    #[test]
    fn lines_are_numbered_and_rounded() {
        assert_eq!(points(&[[0.0, 1.256], [-0.001, -2.5]]), "0 1.26 0 -2.5");
        let example = Example::new();
        let sheet = sheet(&example.study());
        let column = |name| sheet.columns().iter().position(|c| c.name == name).unwrap();
        assert_eq!(sheet.row_count(), 3);
        assert_eq!(sheet.cell(1, column("line")), Cell::Integer(2));
        assert_eq!(sheet.cell(1, column("points")), Cell::Text("3 4 3 5".into()));
        assert_eq!(sheet.cell(2, column("drawn")), Cell::Missing);
    }
}
