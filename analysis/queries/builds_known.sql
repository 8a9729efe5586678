-- Every build of the study: its label here, and its key, which is the same in every study.
SELECT game, label AS build, build_key, firmware FROM builds ORDER BY game, place
