# Satterthwaite (lmerTest) and Kenward-Roger (pbkrtest) for every coefficient:
# writes values.csv (case, term, estimate, se, satterthwaite_df, kr_se, kr_df), data/*.csv, version.txt.
# Run: Rscript make.R, in this folder.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest)})
options(digits = 17)
rows <- list()
dir.create("data", showWarnings = FALSE)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5))
thin <- function(d) d[(17 * seq_len(nrow(d))) %% 10 >= 3, ]

record <- function(case, formula, data, used) {
  write.csv(data[, used], file.path("data", paste0(case, ".csv")), row.names = FALSE)
  fit <- lmerTest::lmer(formula, data, control = tight)
  tab <- coef(summary(fit))
  adjusted <- vcovAdj(as(fit, "lmerMod"))
  se <- sqrt(diag(as.matrix(adjusted)))
  for (i in seq_along(se)) {
    L <- rep(0, length(se)); L[i] <- 1
    df <- Lb_ddf(L, vcov(fit), adjusted)
    rows[[length(rows) + 1]] <<- data.frame(case = case, term = rownames(tab)[i], estimate = tab[i, 1],
      se = tab[i, 2], satterthwaite_df = tab[i, 3], kr_se = se[i], kr_df = df)
  }
}
data(beets)
cake$temperature <- factor(cake$temperature, ordered = FALSE)
record("beets", sugpct ~ sow + harvest + (1 | block) + (1 | block:harvest), beets, c("block", "harvest", "sow", "sugpct"))
record("beets_thin", sugpct ~ sow + harvest + (1 | block) + (1 | block:harvest), thin(beets), c("block", "harvest", "sow", "sugpct"))
record("cake", angle ~ recipe + temperature + (1 | recipe:replicate), cake, c("recipe", "temperature", "replicate", "angle"))
record("cake_thin", angle ~ recipe + temperature + (1 | recipe:replicate), thin(cake), c("recipe", "temperature", "replicate", "angle"))
record("sleep", Reaction ~ Days + (Days | Subject), sleepstudy, c("Reaction", "Days", "Subject"))
record("sleep_thin", Reaction ~ Days + (Days | Subject), thin(sleepstudy), c("Reaction", "Days", "Subject"))
set.seed(11)
pen <- Penicillin
pen$group <- factor(ifelse(as.integer(pen$plate) %% 4 == 0, "q", ifelse(as.integer(pen$plate) %% 4 == 1, "r", ifelse(as.integer(pen$plate) %% 4 == 2, "s", "t"))))
record("crossed", diameter ~ group + (1 | plate) + (1 | sample), pen, c("diameter", "group", "plate", "sample"))
record("crossed_thin", diameter ~ group + (1 | plate) + (1 | sample), thin(pen), c("diameter", "group", "plate", "sample"))
inst <- droplevels(InstEval[1:2000, ])
inst$studage <- factor(inst$studage, ordered = FALSE)
record("instruct", y ~ service + studage + (1 | s) + (1 | d), inst, c("y", "service", "studage", "s", "d"))
write.csv(do.call(rbind, rows), "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("lmerTest", packageVersion("lmerTest")),
             paste("pbkrtest", packageVersion("pbkrtest")), date()), "version.txt")
