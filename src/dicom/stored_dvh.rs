//! Dose-volume histograms that a dose object carries (RT DVH module, PS3.3 C.8.8.4), boiled down to
//! what they can be held against: volume and mean dose of one structure. Must not judge them.

use dicom_dictionary_std::tags;

use super::attribute::Attributes;
use tidydose_rt::StoredDvh;

/// Those of a single structure, in gray. Others are left: they say nothing of a structure alone.
pub(super) fn stored_dvhs(root: &Attributes<'_>) -> Vec<StoredDvh> {
    root.items(tags::DVH_SEQUENCE).filter_map(|item| stored(&item)).collect()
}

fn stored(item: &Attributes<'_>) -> Option<StoredDvh> {
    let mut structures = item.items(tags::DVH_REFERENCED_ROI_SEQUENCE);
    let (only, None) = (structures.next()?, structures.next()) else { return None };
    let included = only.code(tags::DVHROI_CONTRIBUTION_TYPE).is_none_or(|c| c == "INCLUDED");
    let in_gray = item.code(tags::DOSE_UNITS).is_some_and(|unit| unit == "GY");
    if !included || !in_gray {
        return None;
    }
    let roi_number = only.optional_integer(tags::REFERENCED_ROI_NUMBER)?;
    let curve = StoredCurve::of(item);
    let in_cc = item.code(tags::DVH_VOLUME_UNITS).is_some_and(|unit| unit == "CM3");
    let stated = item.optional_number(tags::DVH_MEAN_DOSE);
    let (volume_cc, mean_gy) = (
        curve.as_ref().filter(|_| in_cc).map(|c| c.volume),
        stated.map(|mean| (mean, 0.0)).or_else(|| curve.as_ref().map(|c| (c.mean, c.widest))),
    );
    let (mean_gy, bin_gy) = mean_gy.unzip();
    Some(StoredDvh { roi_number, volume_cc, mean_gy, bin_gy: bin_gy.unwrap_or(0.0) })
}

/// What follows from DVH Data: pairs of bin width and volume, the widths added up from 0 Gy.
struct StoredCurve {
    volume: f64,
    mean: f64,
    widest: f64,
}

impl StoredCurve {
    fn of(item: &Attributes<'_>) -> Option<Self> {
        let scaling = item.optional_number(tags::DVH_DOSE_SCALING).unwrap_or(1.0);
        let data = item.numbers(tags::DVH_DATA).ok()?;
        let (pairs, []) = data.as_chunks::<2>() else { return None };
        let bins = || pairs.iter().map(|[width, volume]| (width * scaling, *volume));
        let filled = bins().filter(|(_, volume)| *volume > 0.0);
        let widest = filled.map(|(width, _)| width).fold(0.0, f64::max);
        let (volume, moment) = match item.code(tags::DVH_TYPE)?.as_str() {
            // Doses at the middle of their bins.
            "DIFFERENTIAL" => bins()
                .scan(0.0, |edge, (width, volume)| {
                    *edge += width;
                    Some((volume, volume * (*edge - width / 2.0)))
                })
                .fold((0.0, 0.0), |sum, bin| (sum.0 + bin.0, sum.1 + bin.1)),
            // The volume of a bin receives at least its lower edge, or its upper one; files differ.
            "CUMULATIVE" => {
                let volume = bins().next()?.1;
                let area: f64 = bins().map(|(width, volume)| width * volume).sum();
                (volume, area - volume * bins().next()?.0 / 2.0)
            }
            _ => return None,
        };
        let mean = moment / volume;
        (volume > 0.0 && mean.is_finite()).then_some(Self { volume, mean, widest })
    }
}
