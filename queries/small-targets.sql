-- question: Which targets are small, on which grid, and how well is their volume known?
-- tables:   structures, plans
-- units:    cc, mm, %
-- caution:  The width is numerical; where the edge of a lesion was drawn is not in it.
-- set below: number = 0.1  volume in cc
SELECT s.patient_id, s.plan_id, s.structure, s.volume_cc,
       100 * (s.volume_high_cc - s.volume_low_cc) / s.volume_cc AS width_percent,
       s.n_planes, s.plane_spacing_mm, p.grid_plane_mm, p.grid_row_mm, p.grid_column_mm
FROM structures s
JOIN plans p ON s.plan_id = p.plan_id
WHERE s.role IN ('gtv', 'ctv', 'ptv', 'target') AND s.volume_cc < $below
  AND p.plan_role <> 'follow_up'
ORDER BY s.volume_cc, s.plan_id, s.roi_number
