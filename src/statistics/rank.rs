//! Comparisons by ranks: two groups by the rank-sum test of Wilcoxon (Mann and Whitney) with the
//! estimate of Hodges and Lehmann, several groups by Kruskal and Wallis.

use super::special::{chi_squared_upper, ln_choose, normal_reach, normal_upper};
use super::{Interval, Undefined, at_least, confidence, finite, real};

/// Groups from this size on are compared by the normal approximation; smaller ones without ties
/// exactly.
const LARGE: usize = 50;

/// Two groups compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankSum {
    /// Pairs in which the first group's value is larger; ties count one half.
    pub u: f64,
    /// Two-sided p: exact without ties below 50 values a group, else by the normal approximation
    /// with corrections for ties and continuity.
    pub p: f64,
    /// Whether `p` and `interval` are exact.
    pub exact: bool,
    /// Hodges and Lehmann's estimate of the shift: the median of all differences, first group minus
    /// second.
    pub shift: f64,
    /// Interval of the shift (Moses).
    pub interval: Interval,
    /// The confidence that it has at most, where there are too few values for the one asked for: then
    /// it is the widest there is, from the least difference to the largest.
    pub attained: Option<f64>,
}

/// Compares two groups; each needs a value.
///
/// # Errors
/// When a group is empty, a value is not finite, or all values are equal.
pub fn rank_sum(first: &[f64], second: &[f64], level: f64) -> Result<RankSum, Undefined> {
    confidence(level)?;
    for group in [first, second] {
        at_least(1, group.len(), "values in a group")?;
        finite(group, "values")?;
    }
    let (m, n) = (first.len(), second.len());
    let all: Vec<f64> = first.iter().chain(second).copied().collect();
    let (ranks, ties) = midranks(&all);
    let sum: f64 = ranks.iter().take(m).sum();
    let u = sum - real(m * (m + 1)) / 2.0;
    let deviation = deviation(m, n, ties);
    if deviation == 0.0 {
        return Err(Undefined::Constant("values"));
    }
    let exact = ties == 0.0 && m < LARGE && n < LARGE;
    let counts = if exact { counts_of_u(m, n) } else { Vec::new() };
    let p = if exact { exact_p(&counts, u) } else { normal_p(u - real(m * n) / 2.0, deviation) };
    let mut differences: Vec<f64> =
        first.iter().flat_map(|a| second.iter().map(move |b| a - b)).collect();
    differences.sort_by(f64::total_cmp);
    let place = if exact {
        exact_place(&counts, level)
    } else {
        normal_place(real(m * n) / 2.0 - normal_reach(level) * deviation)
    };
    let at = |i: usize| differences.get(i).copied();
    let interval = Interval {
        low: at(place - 1).unwrap_or(f64::NEG_INFINITY),
        high: at(m * n - place).unwrap_or(f64::INFINITY),
    };
    // Only one arrangement of m + n choose m lies beyond each end of the widest interval.
    let widest = 1.0 - 2.0 * (-ln_choose((m + n) as u64, m as u64)).exp();
    let attained = (widest < level).then_some(widest.max(0.0));
    Ok(RankSum { u, p, exact, shift: median(&differences), interval, attained })
}

/// Standard deviation of U when the groups do not differ.
fn deviation(m: usize, n: usize, ties: f64) -> f64 {
    let all = real(m + n);
    let spread = all + 1.0 - ties / (all * (all - 1.0));
    (real(m * n) / 12.0 * spread).max(0.0).sqrt()
}

fn normal_p(distance: f64, deviation: f64) -> f64 {
    let z = (distance.abs() - 0.5).max(0.0) / deviation;
    (2.0 * normal_upper(z)).min(1.0)
}

/// How many arrangements of two groups without ties have each U: the largest value belongs to the
/// first group, and is above all `n` of the second, or to the second. Sums only, so that no digit is
/// lost where counts exceed 2⁵³.
fn counts_of_u(m: usize, n: usize) -> Vec<f64> {
    // By size of the second group; for an empty first group U is 0.
    let mut smaller: Vec<Vec<f64>> = vec![vec![1.0]; n + 1];
    for _ in 0..m {
        let mut next: Vec<Vec<f64>> = Vec::with_capacity(n + 1);
        for (size, without) in smaller.iter().enumerate() {
            let mut counts = vec![0.0; without.len() + size];
            counts.iter_mut().skip(size).zip(without).for_each(|(c, w)| *c += w);
            let fewer = next.last().map_or(&[][..], Vec::as_slice);
            counts.iter_mut().zip(fewer).for_each(|(c, f)| *c += f);
            next.push(counts);
        }
        smaller = next;
    }
    smaller.pop().unwrap_or_default()
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "U is a count here")]
fn exact_p(counts: &[f64], u: f64) -> f64 {
    let last = counts.len() - 1;
    let smaller = (u.round() as usize).min(last - (u.round() as usize).min(last));
    let tail: f64 = counts.iter().take(smaller + 1).sum();
    (2.0 * tail / counts.iter().sum::<f64>()).min(1.0)
}

/// Place, from 1, of the lower end among the sorted differences: one more than the largest U whose
/// tail holds no more than half of the error.
fn exact_place(counts: &[f64], level: f64) -> usize {
    let allowed = 0.5 * (1.0 - level) * counts.iter().sum::<f64>();
    let mut tail = 0.0;
    let outside = counts.iter().take_while(|c| {
        tail += **c;
        tail <= allowed
    });
    // With so few values that no place is far enough out, the interval is as wide as it can be.
    outside.count().max(1)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at least 1")]
fn normal_place(place: f64) -> usize {
    place.round().max(1.0) as usize
}

/// Several groups compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KruskalWallis {
    /// The statistic H, corrected for ties.
    pub h: f64,
    /// Degrees of freedom: one less than there are groups.
    pub degrees: usize,
    /// p by the chi-squared distribution.
    pub p: f64,
}

/// Compares groups, of which empty ones are left out.
///
/// # Errors
/// When fewer than two groups have values, a value is not finite, or all are equal.
pub fn kruskal_wallis(groups: &[Vec<f64>]) -> Result<KruskalWallis, Undefined> {
    let groups: Vec<&Vec<f64>> = groups.iter().filter(|g| !g.is_empty()).collect();
    at_least(2, groups.len(), "groups with values")?;
    let all: Vec<f64> = groups.iter().flat_map(|g| g.iter().copied()).collect();
    finite(&all, "values")?;
    let (ranks, ties) = midranks(&all);
    let n = real(all.len());
    let mut from = 0;
    let mut sum = 0.0;
    for group in &groups {
        let own: f64 = ranks.iter().skip(from).take(group.len()).sum();
        sum += own * own / real(group.len());
        from += group.len();
    }
    let plain = 12.0 / (n * (n + 1.0)) * sum - 3.0 * (n + 1.0);
    let correction = 1.0 - ties / (n * n * n - n);
    if correction <= 0.0 {
        return Err(Undefined::Constant("values"));
    }
    let (h, degrees) = (plain / correction, groups.len() - 1);
    Ok(KruskalWallis { h, degrees, p: chi_squared_upper(h, real(degrees)) })
}

/// Ranks from 1, equal values with their mean rank; and Σ (t³ − t) over all ties.
pub(super) fn midranks(values: &[f64]) -> (Vec<f64>, f64) {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut ranks = vec![0.0; values.len()];
    let (mut from, mut ties) = (0, 0.0);
    while from < order.len() {
        let value = values[order[from]];
        let equal = order[from..].iter().take_while(|i| values[**i] == value).count();
        let rank = real(from + 1 + from + equal) / 2.0;
        for place in &order[from..from + equal] {
            ranks[*place] = rank;
        }
        ties += real(equal).powi(3) - real(equal);
        from += equal;
    }
    (ranks, ties)
}

fn median(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    f64::midpoint(sorted[(n - 1) / 2], sorted[n / 2])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hollander and Wolfe, Nonparametric Statistical Methods, permeability of chorioamnion, the
    /// example of R's page of `wilcox.test` (data and p = 0.2544 two-sided from memory).
    #[test]
    fn a_published_example_is_met() {
        let term = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46];
        let early = [1.15, 0.88, 0.90, 0.74, 1.21];
        let found = rank_sum(&term, &early, 0.95).unwrap();
        assert!(found.exact && found.u == 35.0);
        assert!((found.p - 0.2544).abs() < 5e-5, "{}", found.p);
        assert!((found.shift - 0.305).abs() < 1e-9, "{}", found.shift);
    }

    /// Of one against one every interval is a point; of three against three the widest holds 1 − 2/20.
    #[test]
    fn an_interval_that_cannot_have_its_level_says_what_it_has() {
        assert_eq!(rank_sum(&[1.0], &[2.0], 0.95).unwrap().attained, Some(0.0));
        let three = rank_sum(&[1.0, 2.0, 3.5], &[4.0, 5.0, 6.1], 0.95).unwrap();
        assert!((three.attained.unwrap() - 0.9).abs() < 1e-12);
        assert!((three.interval.low + 5.1).abs() < 1e-12);
        let four = rank_sum(&[1.0, 2.0, 3.5, 7.0], &[4.0, 5.0, 6.1, 8.0], 0.95).unwrap();
        assert_eq!(four.attained, None);
    }

    #[test]
    fn counts_of_u_are_binomial_in_sum_and_symmetric() {
        let counts = counts_of_u(4, 6);
        assert_eq!(counts.iter().sum::<f64>(), 210.0);
        assert!((0..=24).all(|u| counts[u] == counts[24 - u]));
        assert_eq!(counts_of_u(2, 2), [1.0, 1.0, 2.0, 1.0, 1.0]);
        let large = counts_of_u(49, 49);
        assert!(large.iter().all(|c| *c >= 1.0));
    }

    #[test]
    fn turning_the_groups_turns_the_signs() {
        let (a, b) = ([1.0, 2.0, 2.0, 5.0, 9.0], [2.0, 3.0, 7.0, 7.0]);
        let one = rank_sum(&a, &b, 0.95).unwrap();
        let other = rank_sum(&b, &a, 0.95).unwrap();
        assert!(!one.exact && (one.p - other.p).abs() < 1e-15);
        assert_eq!(one.shift, -other.shift);
        assert_eq!(one.interval.low, -other.interval.high);
    }

    #[test]
    fn nothing_to_compare_is_refused() {
        assert!(rank_sum(&[], &[1.0], 0.95).is_err());
        assert_eq!(rank_sum(&[2.0, 2.0], &[2.0], 0.95), Err(Undefined::Constant("values")));
        assert!(rank_sum(&[f64::NAN], &[1.0], 0.95).is_err());
        assert!(kruskal_wallis(&[vec![1.0], vec![]]).is_err());
        assert!(kruskal_wallis(&[vec![1.0], vec![1.0]]).is_err());
    }
}
