# Variance components of 144 of 240 cells by lme4, and psych's intraclass correlations of the same data.
# Run: Rscript make.R, in this folder. data/ratings.csv is invented (normal scores, seed 4, 40 % of cells missing).
library(lme4)
library(psych)
ratings <- read.csv("data/ratings.csv")
made <- lmer(score ~ 1 + (1 | unit) + (1 | rater), ratings, REML = TRUE,
             control = lmerControl(optCtrl = list(xtol_rel = 1e-12, ftol_abs = 1e-14, maxeval = 1e5)))
found <- as.data.frame(VarCorr(made))
variances <- data.frame(quantity = found$grp, value = found$vcov)
wide <- tapply(ratings$score, list(ratings$unit, ratings$rater), mean)
other <- ICC(wide, lmer = TRUE)$results
other <- data.frame(quantity = paste0("psych ", other$type), value = other$ICC)
write.csv(rbind(variances, other), "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("psych", packageVersion("psych"))),
           "version.txt")
