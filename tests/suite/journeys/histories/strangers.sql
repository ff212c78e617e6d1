-- People whom somebody who keeps people at some sites ($2) of a stage ($1), or reads there, must not hear of: their
-- sign-in names, who never had a role there or everywhere.
SELECT p.sign_in_name FROM people p
 WHERE EXISTS (SELECT FROM grants g WHERE g.person_id = p.id AND g.site_id = ANY ($1))
   AND NOT EXISTS (SELECT FROM grants g
                    WHERE g.person_id = p.id AND (g.site_id = ANY ($2) OR g.site_id IS NULL))
