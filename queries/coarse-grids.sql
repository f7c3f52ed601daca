-- question: Which plans have a coarse dose grid, and which organ dose suffers most?
-- tables:   plans, metrics
-- units:    mm, Gy
-- caution:  The widest bounds among the near-maximum doses of all organs of the plan.
-- set from_mm: number = 1.4  smallest spacing that is listed
SELECT p.patient_id, p.plan_id, p.technology, p.grid_plane_mm, p.grid_row_mm, p.grid_column_mm,
       MAX(m.high - m.low) AS widest_gy
FROM plans p
JOIN metrics m ON m.plan_id = p.plan_id
WHERE m.metric = 'D0.03cc[Gy]' AND m.status IN ('ok', 'uncertain') AND m.role = 'organ'
  AND MAX(p.grid_plane_mm, p.grid_row_mm, p.grid_column_mm) >= $from_mm
GROUP BY p.patient_id, p.plan_id, p.technology, p.grid_plane_mm, p.grid_row_mm, p.grid_column_mm
ORDER BY widest_gy DESC, p.plan_id
