//! Brain metastasis velocity: new brain metastases since the first radiosurgery over the years since;
//! low below 4, intermediate 4 to 13, high above 13 a year (Farris et al. 2017, IJROBP 98:131, abstract
//! read; validated by McTyre et al. 2020, Radiother Oncol 142:168, abstract read).

/// Days of a year on average.
const YEAR_DAYS: f64 = 365.25;

/// How many (or how much) a year; absent on the day itself.
#[must_use]
pub fn per_year(new: f64, days: i64) -> Option<f64> {
    #[allow(clippy::cast_precision_loss)] // days of a life
    let years = days as f64 / YEAR_DAYS;
    (years > 0.0).then(|| new / years)
}

/// The class of a velocity, new metastases a year.
#[must_use]
pub fn class(per_year: f64) -> &'static str {
    match per_year {
        v if v < 4.0 => "low",
        v if v <= 13.0 => "intermediate",
        _ => "high",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Farris et al. 2017: 4 and 13 a year belong to the middle class.
    #[test]
    fn the_edges_belong_to_the_middle_class() {
        assert_eq!(
            [3.99, 4.0, 13.0, 13.01].map(class),
            ["low", "intermediate", "intermediate", "high"]
        );
        assert!((per_year(3.0, 274).unwrap() - 4.0).abs() < 0.01, "three in nine months");
        assert_eq!(per_year(1.0, 0), None);
    }
}
