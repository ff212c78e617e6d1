# A round, the open concerns and a report from R, by way of the command `holt`:
#   Rscript day.R nuala QUI Larch=1424 Fennel=1191      (in grams; the password is read from HOLT_PASSWORD)
args <- commandArgs(trailingOnly = TRUE)
site <- args[2]

# Runs a command of holt and reads what it prints. Only what was refused as a whole prints nothing.
holt <- function(..., input = NULL) {
  said <- suppressWarnings(system2("holt", shQuote(c(..., "--site", site)), stdout = TRUE, input = input))
  if (length(said) == 0) stop("holt ended with ", attr(said, "status"), call. = FALSE)
  said
}
table_of <- function(...) read.csv(text = holt(..., "--format", "csv"), check.names = FALSE)

invisible(holt("sign-in", args[1], "--password-stdin", input = Sys.getenv("HOLT_PASSWORD")))

round <- c("animal,mass", sub("=(.*)", ",\\1g", args[-(1:2)]))
now <- format(Sys.time(), "%Y-%m-%dT%H:%M:%SZ", tz = "UTC")
answers <- table_of("weigh", "--file", "-", "--at", now, input = round)
print(answers[c("animal", "outcome", "hint", "say")], row.names = FALSE)

concerns <- table_of("concern", "list")
print(concerns[c("level", "house_name", "age_days")], row.names = FALSE)

report <- table_of("report")
coverage <- subset(report, part == "coverage" & figure %in% c("due", "done_in_time"))
print(xtabs(as.integer(value) ~ subject + figure, coverage))
