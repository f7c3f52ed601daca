-- question: How did treated lesions answer on images, by criterion and quarter of a year since the treatment?
-- tables:   responses
-- units:    counts
-- caution:  The imaging part of the criteria alone, which is no clinical response: they ask for corticosteroids and the state of the patient as well. Undecided means that lesions.csv, a size or a bound leaves it open.
SELECT criterion, days_since_treatment / 91 AS quarters, response,
       COUNT(*) AS follow_ups, COUNT(DISTINCT patient_id) AS patients, SUM(n_new) AS n_new
FROM responses
GROUP BY criterion, days_since_treatment / 91, response
ORDER BY criterion, quarters, response
