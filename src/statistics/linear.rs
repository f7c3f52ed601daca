//! Small systems of linear equations.

/// Solves a small system by elimination with pivots; absent where it is singular.
pub(super) fn solve(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let n = right.len();
    for k in 0..n {
        let pivot = (k..n).max_by(|a, b| matrix[*a][k].abs().total_cmp(&matrix[*b][k].abs()))?;
        if matrix[pivot][k].abs() < 1e-12 {
            return None;
        }
        matrix.swap(k, pivot);
        right.swap(k, pivot);
        for i in k + 1..n {
            let factor = matrix[i][k] / matrix[k][k];
            let pivot_row = matrix[k].clone();
            matrix[i].iter_mut().zip(pivot_row).for_each(|(cell, above)| *cell -= factor * above);
            right[i] -= factor * right[k];
        }
    }
    for k in (0..n).rev() {
        let known: f64 = (k + 1..n).map(|j| matrix[k][j] * right[j]).sum();
        right[k] = (right[k] - known) / matrix[k][k];
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_is_solved_and_a_singular_one_is_not() {
        let x = solve(vec![vec![0.0, 2.0], vec![3.0, 1.0]], vec![4.0, 5.0]).unwrap();
        assert!((x[0] - 1.0).abs() < 1e-15 && (x[1] - 2.0).abs() < 1e-15);
        assert_eq!(solve(vec![vec![1.0, 2.0], vec![2.0, 4.0]], vec![1.0, 2.0]), None);
    }
}
