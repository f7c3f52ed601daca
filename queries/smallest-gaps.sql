-- question: Which targets lie nearest to an organ, and what dose does it get?
-- tables:   relations, metrics
-- units:    mm, Gy
-- caution:  A negative gap is how deep the target reaches into the organ; low and high are numerical bounds.
-- set organ:  structure = Brainstem    standard name of the organ
-- set metric: metric    = D0.03cc[Gy]  metric of the organ in TG-263 syntax
-- set most:   integer   = 10           how many rows
WITH gaps AS (
  SELECT patient_id, plan_id, structure AS target, role, other_structure_id, value, low, high
  FROM relations
  WHERE metric = 'Gap[mm]' AND other_structure = $organ AND value IS NOT NULL
),
doses AS (
  SELECT structure_id, value, low, high, unit, status, reason
  FROM metrics
  WHERE structure = $organ AND metric = $metric
)
SELECT g.patient_id, g.plan_id, g.target, g.role, g.value AS gap_mm, g.low AS gap_low_mm,
       g.high AS gap_high_mm, m.value AS organ_value, m.low AS organ_low, m.high AS organ_high,
       m.unit, m.status, m.reason
FROM gaps g
LEFT JOIN doses m ON g.other_structure_id = m.structure_id
ORDER BY gap_mm, g.plan_id, g.target
LIMIT $most
