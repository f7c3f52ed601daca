-- question: Which patients have more than one plan in the study, and how many days lie between them?
-- tables:   plans
-- units:    d
-- caution:  Days come from RT Plan Date, which may precede the first treatment.
WITH dated AS (
  SELECT patient_id, plan_id, technology, fractions_planned, day_plan,
         ROW_NUMBER() OVER (PARTITION BY patient_id ORDER BY day_plan, plan_id) AS number,
         LAG(day_plan) OVER (PARTITION BY patient_id ORDER BY day_plan, plan_id) AS day_before
  FROM plans
  WHERE in_study AND patient_id IS NOT NULL
),
several AS (SELECT patient_id FROM dated GROUP BY patient_id HAVING COUNT(*) > 1)
SELECT d.patient_id, d.number, d.plan_id, d.technology, d.fractions_planned,
       d.day_plan - d.day_before AS days_since_last
FROM dated d
JOIN several s ON d.patient_id = s.patient_id
ORDER BY d.patient_id, d.number
