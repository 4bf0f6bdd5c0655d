# Variance components of incomplete designs by lme4.
# Run: Rscript make.R, in this folder. data/*.csv are invented (normal scores, seeds in data/make.py).
library(lme4)
exact <- lmerControl(
  check.nobs.vs.nlev = "ignore", check.nobs.vs.rankZ = "ignore", # "spanning" has one effect a row
  optCtrl = list(xtol_rel = 1e-12, ftol_abs = 1e-14, maxeval = 1e5))
taken <- function(design, formula) {
  scores <- read.csv(paste0("data/", design, ".csv"))
  for (name in setdiff(names(scores), c("score", "week"))) scores[[name]] <- factor(scores[[name]])
  made <- lmer(formula, scores, REML = TRUE, control = exact)
  found <- as.data.frame(VarCorr(made))
  data.frame(design = design, component = found$grp, variance = found$vcov)
}
found <- rbind(
  taken("visits", score ~ week + (1 | candidate) + (1 | rater) + (1 | candidate:rater) + (1 | candidate:lesson)),
  taken("nested", score ~ 1 + (1 | candidate) + (1 | occasion) + (1 | occasion:rater) + (1 | candidate:occasion)),
  taken("spanning", score ~ 1 + (1 | candidate) + (1 | rater) + (1 | candidate:rater) + (1 | lesson))
)
write.csv(found, "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4"))), "version.txt")
