//! What each metric between two structures is; the dictionary is made from this list.

use tidydose_metrics::Scale;

/// One metric of a pair of structures.
#[derive(Debug)]
pub struct RelationDefinition {
    /// Name as in the table.
    pub name: &'static str,
    /// Unit symbol.
    pub unit: &'static str,
    /// What it is and when it does not exist.
    pub title: &'static str,
    /// Formula.
    pub formula: &'static str,
    /// Where it comes from, and whether that was read.
    pub reference: &'static str,
    /// What the width of its bounds is held against beside its value.
    pub scale: Scale,
}

/// Name of the share of the target's volume that lies in the other structure.
pub const SHARE: &str = "OverlapShare[%]";

const PRACTICE: &str = "common practice; sign convention and rule are those of this program";
const OVH_SOURCE: &str = "overlap-volume histogram, Wu et al. 2009 and Kazhdan et al. 2009 (not yet checked against the source)";

pub(super) static GAP: RelationDefinition = RelationDefinition {
    name: "Gap[mm]",
    unit: "mm",
    title: "smallest distance between the two surfaces; negative where they overlap: the deepest \
            that either surface reaches into the other solid",
    formula: "min over the points of both surfaces of the signed distance to the other surface",
    reference: PRACTICE,
    scale: Scale::Size,
};

pub(super) static OVERLAP: RelationDefinition = RelationDefinition {
    name: "Overlap[cc]",
    unit: "cc",
    title: "volume that the structures share; 0 too where an organ is contoured around a target",
    formula: "|A ∩ B|",
    reference: PRACTICE,
    scale: Scale::Volume,
};

static OF_ONE: RelationDefinition = RelationDefinition {
    name: SHARE,
    unit: "%",
    title: "share of the structure that lies in the other one",
    formula: "100 · |A ∩ B| / |A|",
    reference: PRACTICE,
    scale: Scale::Whole(100.0),
};

/// The definition of [`SHARE`].
pub(super) const fn share() -> &'static RelationDefinition {
    &OF_ONE
}

pub(super) static SHARE_OF_OTHER: RelationDefinition = RelationDefinition {
    name: "OverlapShareOther[%]",
    unit: "%",
    title: "share of the other structure that lies in the structure",
    formula: "100 · |A ∩ B| / |B|",
    reference: PRACTICE,
    scale: Scale::Whole(100.0),
};

const fn ovh(name: &'static str) -> RelationDefinition {
    RelationDefinition {
        name,
        unit: "%",
        title: "share of the organ that lies within the stated distance of the target's surface, \
                or inside the target",
        formula: "100 · |{x in B: signed distance to A ≤ t}| / |B|",
        reference: OVH_SOURCE,
        scale: Scale::Whole(100.0),
    }
}

pub(super) static OVH: [RelationDefinition; 4] =
    [ovh("OVH2mm[%]"), ovh("OVH5mm[%]"), ovh("OVH10mm[%]"), ovh("OVH20mm[%]")];

const fn margin(name: &'static str, title: &'static str) -> RelationDefinition {
    RelationDefinition {
        name,
        unit: "mm",
        title,
        formula: "distance from the points of the GTV's or CTV's surface outward to the nearest \
                  point of the PTV's surface; negative where it leaves the PTV",
        reference: PRACTICE,
        scale: Scale::Size,
    }
}

pub(super) static MARGIN_MIN: RelationDefinition =
    margin("MarginMin[mm]", "smallest margin of a GTV or CTV in its PTV");
pub(super) static MARGIN_MEAN: RelationDefinition =
    margin("MarginMean[mm]", "mean margin over points spread on the surface of the GTV or CTV");
pub(super) static MARGIN_MAX: RelationDefinition =
    margin("MarginMax[mm]", "largest margin of a GTV or CTV in its PTV");

pub(super) static NEAREST: RelationDefinition = RelationDefinition {
    name: "NearestTarget[mm]",
    unit: "mm",
    title: "gap to the nearest target that is another lesion: one that shares less than half of \
            either volume; not applicable without one",
    formula: "min over those targets of Gap",
    reference: PRACTICE,
    scale: Scale::Size,
};

/// Every metric of the table, in its order.
pub static DEFINITIONS: &[&RelationDefinition] = &[
    &GAP,
    &OVERLAP,
    &OF_ONE,
    &SHARE_OF_OTHER,
    &OVH[0],
    &OVH[1],
    &OVH[2],
    &OVH[3],
    &MARGIN_MIN,
    &MARGIN_MEAN,
    &MARGIN_MAX,
    &NEAREST,
];
