# Variance components of 144 of 240 cells by lme4, and the intraclass correlations that they make.
# Run: Rscript make.R, in this folder. data/ratings.csv is invented (normal scores, seed 4, 40 % of cells missing).
library(lme4)
ratings <- read.csv("data/ratings.csv")
made <- lmer(score ~ 1 + (1 | unit) + (1 | rater), ratings, REML = TRUE,
             control = lmerControl(optCtrl = list(xtol_rel = 1e-12, ftol_abs = 1e-14, maxeval = 1e5)))
found <- as.data.frame(VarCorr(made))
variances <- setNames(found$vcov, found$grp)
unit <- variances[["unit"]]
rater <- variances[["rater"]]
residual <- variances[["Residual"]]
k <- length(unique(ratings$rater))
made <- c(variances,
          icc_a_1 = unit / (unit + rater + residual), icc_c_1 = unit / (unit + residual),
          icc_a_k = unit / (unit + (rater + residual) / k), icc_c_k = unit / (unit + residual / k))
write.csv(data.frame(quantity = names(made), value = made), "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4"))), "version.txt")
