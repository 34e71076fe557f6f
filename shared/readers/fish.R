# The fish of a ledger as a data frame: Rscript fish.R ledger.db   (packages DBI and RSQLite)
library(DBI)
path <- commandArgs(trailingOnly = TRUE)[1]
db <- dbConnect(RSQLite::SQLite(), path, flags = RSQLite::SQLITE_RO)
fish <- dbGetQuery(db, "
  SELECT * FROM specimens
  WHERE \"end\" IS NULL OR \"end\" NOT IN ('void', 'same-as') ORDER BY number")
dbDisconnect(db)
fish$opened <- as.POSIXct(fish$opened_utc, format = "%Y-%m-%dT%H:%M:%OSZ", tz = "UTC")
print(fish)
