//! Rows of the tables that hold places: `traces` and `pictures`.

use super::{LineKind, Orientation, Role, TraceKind, View, row};

row! {
    /// A place that the numbers of a structure rest on.
    TraceRow of "traces" {
        /// The structure.
        structure_id: &'t str,
        /// What the place is.
        kind: TraceKind,
        /// Number of a plane by position.
        number: Option<i64>,
        /// Position of a contour plane along its normal, mm.
        plane_mm: Option<f64>,
        /// Part of the normal that it stands for, mm.
        thickness_mm: Option<f64>,
        /// Outlines on it, holes included.
        n_outlines: Option<i64>,
        /// Filled area on it, mm².
        area_mm2: Option<f64>,
        /// The place, towards the left.
        x_mm: Option<f64>,
        /// The place, towards the back.
        y_mm: Option<f64>,
        /// The place, towards the head.
        z_mm: Option<f64>,
        /// Dose at a point, Gy.
        dose_gy: Option<f64>,
        /// Plane of a voxel, from 1.
        voxel_plane: Option<i64>,
        /// Row of a voxel, from 1.
        voxel_row: Option<i64>,
        /// Column of a voxel, from 1.
        voxel_column: Option<i64>,
    }
}

row! {
    /// A line of a picture.
    PictureRow of "pictures" {
        /// The case.
        plan_id: &'t str,
        /// The structure that the picture is about.
        structure_id: &'t str,
        /// The name it goes by.
        structure: &'t str,
        /// What the picture is centred on.
        centred_on: View,
        /// How its plane lies.
        orientation: Orientation,
        /// Whether the outline of the structure was drawn in this plane.
        as_drawn: bool,
        /// Patient directions to the right and down.
        directions: &'t str,
        /// Position of the plane along its normal, mm.
        plane_mm: Option<f64>,
        /// How far the point of interest lies off it, mm.
        off_plane_mm: Option<f64>,
        /// What the line is.
        kind: LineKind,
        /// Structure of a contour; empty for other lines.
        drawn: &'t str,
        /// What that structure is for.
        drawn_role: Option<Role>,
        /// Dose of an isodose line or at the mark, Gy.
        dose_gy: Option<f64>,
        /// `x y x y ...` of its points, mm.
        points: &'t str,
    }
}
