-- question: Which patients had an organ irradiated in more than one plan, and how much each time?
-- tables:   metrics, plans
-- units:    Gy, d
-- caution:  The doses are listed side by side and not added: fractionation and position differ.
-- set organ:  structure = Brainstem    standard name of the organ
-- set metric: metric    = D0.03cc[Gy]  metric in TG-263 syntax
-- set least:  number    = 1            smallest dose in Gy that counts
WITH doses AS (
  SELECT m.patient_id, m.plan_id, p.day_plan, p.fractions_planned, m.value, m.low, m.high, m.status
  FROM metrics m
  JOIN plans p ON m.plan_id = p.plan_id
  WHERE m.structure = $organ AND m.metric = $metric AND m.value >= $least
    AND p.in_study
),
several AS (SELECT patient_id FROM doses GROUP BY patient_id HAVING COUNT(*) > 1)
SELECT d.patient_id, d.plan_id, d.day_plan, d.fractions_planned, d.value, d.low, d.high, d.status
FROM doses d
JOIN several s ON d.patient_id = s.patient_id
ORDER BY d.patient_id, d.day_plan, d.plan_id
