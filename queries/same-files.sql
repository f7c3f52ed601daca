-- question: Which files have the same content under different names or patients?
-- tables:   files
-- units:    counts
-- caution:  Equal bytes only; the same plan exported twice differs in a few elements and is not found here.
SELECT sha256, MIN(sop_class) AS sop_class, COUNT(*) AS files,
       COUNT(DISTINCT patient_id) AS patients
FROM files
WHERE sha256 IS NOT NULL AND size_bytes > 0
GROUP BY sha256
HAVING COUNT(*) > 1
ORDER BY patients DESC, files DESC, sha256
