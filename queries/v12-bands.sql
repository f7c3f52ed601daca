-- question: How do single-fraction plans spread over bands of the brain volume above 12 Gy?
-- tables:   metrics, plans
-- units:    cc
-- caution:  V12 of the structure Brain as contoured; whether the target is part of it depends on the contour.
-- set first:  number = 5   upper end of the first band, cc
-- set second: number = 10  upper end of the second band, cc
SELECT CASE WHEN m.value IS NULL THEN 'unknown: ' || m.status
            WHEN m.high < $first THEN 'below the first'
            WHEN m.low >= $first AND m.high < $second THEN 'between'
            WHEN m.low >= $second THEN 'above the second'
            ELSE 'undecided within the bounds' END AS band,
       COUNT(*) AS plans, MIN(m.value) AS least_cc, MAX(m.value) AS most_cc
FROM metrics m
JOIN plans p ON m.plan_id = p.plan_id
WHERE m.structure = 'Brain' AND m.metric = 'V12Gy[cc]' AND p.fractions_planned = 1
  AND p.in_study
GROUP BY band
ORDER BY band
