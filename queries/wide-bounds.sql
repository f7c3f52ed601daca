-- question: Which values are known least, and on which grid and slices do they rest?
-- tables:   metrics, plans, structures
-- units:    of the metric; %, mm
-- caution:  Wide bounds mean that the files do not tell; they say nothing of treatment.
-- set percent: number  = 20                                                       smallest width, as a share of the value
-- set metrics: metrics = 'D0.03cc[Gy], V12Gy[cc], PaddickConformity, Volume[cc]'  metrics in TG-263 syntax
SELECT m.patient_id, m.plan_id, m.structure, m.metric, m.value, m.low, m.high, m.unit,
       100 * (m.high - m.low) / m.value AS width_percent, s.n_planes, s.plane_spacing_mm,
       p.grid_plane_mm
FROM metrics m
JOIN structures s ON m.structure_id = s.structure_id
JOIN plans p ON m.plan_id = p.plan_id
WHERE m.status IN ('ok', 'uncertain') AND m.metric IN ($metrics) AND m.value > 0
  AND p.plan_role <> 'follow_up'
  AND 100 * (m.high - m.low) / m.value > $percent
ORDER BY width_percent DESC, m.plan_id, m.roi_number, m.metric
