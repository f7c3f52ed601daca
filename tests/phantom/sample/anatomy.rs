//! A head made of ellipsoids, cylinders, capsules and balls, and what people call its parts.

use tidydose_geometry::Point;
use tidydose_geometry::point::{add, scale};

use crate::phantom::solid::{Solid, axes_along};

/// A part of the head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Organ {
    Brain,
    Brainstem,
    Chiasm,
    NerveLeft,
    NerveRight,
    EyeLeft,
    EyeRight,
    LensLeft,
    LensRight,
    CochleaLeft,
    CochleaRight,
    External,
}

/// All parts but the outer contour.
pub const ORGANS: [Organ; 11] = [
    Organ::Brain,
    Organ::Brainstem,
    Organ::Chiasm,
    Organ::NerveLeft,
    Organ::NerveRight,
    Organ::EyeLeft,
    Organ::EyeRight,
    Organ::LensLeft,
    Organ::LensRight,
    Organ::CochleaLeft,
    Organ::CochleaRight,
];

/// The names of the twelve parts in one habit or language, in the order of [`Organ`].
pub type Names = [&'static str; 12];

/// The names of the nomenclature report.
pub const STANDARD: Names = [
    "Brain",
    "Brainstem",
    "OpticChiasm",
    "OpticNrv_L",
    "OpticNrv_R",
    "Eye_L",
    "Eye_R",
    "Lens_L",
    "Lens_R",
    "Cochlea_L",
    "Cochlea_R",
    "External",
];
/// Free English.
pub const LOOSE: Names = [
    "brain",
    "brain stem",
    "optic chiasm",
    "Lt optic nerve",
    "Rt optic nerve",
    "LEye",
    "REye",
    "Lens L",
    "Lens R",
    "L cochlea",
    "R cochlea",
    "skin",
];
/// English in capitals.
pub const CAPITALS: Names = [
    "BRAIN",
    "BRAINSTEM",
    "CHIASM",
    "OPTIC NERVE L",
    "OPTIC NERVE R",
    "EYE_L",
    "EYE_R",
    "LENS_L",
    "LENS_R",
    "COCHLEA_L",
    "COCHLEA_R",
    "BODY",
];
/// German.
pub const GERMAN: Names = [
    "Gehirn",
    "Hirnstamm",
    "Chiasma",
    "Sehnerv li",
    "Sehnerv re",
    "Auge li",
    "Auge re",
    "Linse li",
    "Linse re",
    "Cochlea links",
    "Cochlea rechts",
    "Außenkontur",
];
/// French.
pub const FRENCH: Names = [
    "Cerveau",
    "Tronc cerebral",
    "Chiasma",
    "Nerf optique G",
    "Nerf optique D",
    "Oeil G",
    "Oeil D",
    "Cristallin G",
    "Cristallin D",
    "Cochlée G",
    "Cochlée D",
    "Contour externe",
];
/// Spanish.
pub const SPANISH: Names = [
    "Cerebro",
    "Tronco encefálico",
    "Quiasma",
    "Nervio óptico izq",
    "Nervio óptico der",
    "Ojo izq",
    "Ojo der",
    "Cristalino izq",
    "Cristalino der",
    "Cóclea izq",
    "Cóclea der",
    "Contorno",
];
/// Dutch.
pub const DUTCH: Names = [
    "Hersenen",
    "Hersenstam",
    "Chiasma",
    "N. opticus li",
    "N. opticus re",
    "Oog li",
    "Oog re",
    "Lens li",
    "Lens re",
    "Cochlea li",
    "Cochlea re",
    "Huid",
];

impl Organ {
    /// Its name in a list.
    pub fn name(self, names: &Names) -> &'static str {
        names[self as usize]
    }

    /// RT ROI Interpreted Type.
    pub const fn interpreted_type(self) -> &'static str {
        if matches!(self, Self::External) { "EXTERNAL" } else { "ORGAN" }
    }

    /// Distance of its contours, mm, and vertices of each.
    pub const fn drawing(self) -> (f64, usize) {
        match self {
            Self::Brain | Self::External => (3.0, 60),
            Self::Brainstem => (2.0, 48),
            Self::EyeLeft | Self::EyeRight => (2.0, 36),
            _ => (1.0, 32),
        }
    }

    /// Its shape in a head of a size (1 is ordinary) whose brain is centred at a point.
    pub fn solid(self, size: f64, at: Point) -> Solid {
        let p = |q: Point| add(at, scale(q, size));
        let side = if self.is_right() { -1.0 } else { 1.0 };
        match self {
            Self::Brain => Solid::ellipsoid(p([0.0; 3]), [68.0, 84.0, 62.0].map(|s| s * size)),
            Self::External => {
                Solid::ellipsoid(p([0.0, 2.0, -8.0]), [77.0, 96.0, 84.0].map(|s| s * size))
            }
            Self::Brainstem => Solid::Ellipsoid {
                centre: p([0.0, 22.0, -36.0]),
                axes: axes_along([0.0, 0.2, 0.98]),
                semi: [13.5, 13.5, 29.0].map(|s| s * size),
            },
            Self::Chiasm => {
                Solid::cylinder(p([0.0, -22.0, -22.0]), [1.0, 0.0, 0.0], 2.6 * size, 13.0 * size)
            }
            Self::NerveLeft | Self::NerveRight => Solid::Capsule {
                ends: [p([7.0 * side, -26.0, -23.0]), p([29.0 * side, -58.0, -27.0])],
                radius: 2.1 * size,
            },
            Self::EyeLeft | Self::EyeRight => {
                Solid::ball(p([32.0 * side, -72.0, -28.0]), 12.0 * size)
            }
            Self::LensLeft | Self::LensRight => Solid::Ellipsoid {
                centre: p([32.0 * side, -81.5, -28.0]),
                axes: axes_along([0.0, 1.0, 0.0]),
                semi: [4.6, 4.6, 2.1].map(|s| s * size),
            },
            Self::CochleaLeft | Self::CochleaRight => {
                Solid::ball(p([27.0 * side, 6.0, -36.0]), 3.1 * size)
            }
        }
    }

    const fn is_right(self) -> bool {
        matches!(self, Self::NerveRight | Self::EyeRight | Self::LensRight | Self::CochleaRight)
    }
}
