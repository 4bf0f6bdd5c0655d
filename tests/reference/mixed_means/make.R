# Adjusted means and contrasts of emmeans on lme4 and ordinal fits:
# writes values.csv (case, table, cell, value, se, df), data/*.csv, version.txt.
# Run: Rscript make.R, in this folder.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(ordinal); library(emmeans)})
options(digits = 17)
emm_options(lmer.df = "kenward-roger", opt.digits = FALSE)
rows <- list()
dir.create("data", showWarnings = FALSE)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5))
thin <- function(d) d[(17 * seq_len(nrow(d))) %% 10 >= 3, ]
write <- function(case, data) write.csv(data, file.path("data", paste0(case, ".csv")), row.names = FALSE)

keep <- function(case, table, found, cells) {
  found <- as.data.frame(found)
  cell <- do.call(paste, c(lapply(cells, function(name) as.character(found[[name]])), sep = "|"))
  value <- found[[intersect(c("emmean", "estimate", "prob", "mean.class"), names(found))[1]]]
  rows[[length(rows) + 1]] <<- data.frame(case = case, table = table, cell = cell, value = value,
                                          se = found$SE, df = found$df)
}
pairs_of <- function(grid, by = NULL) contrast(grid, "revpairwise", by = by, adjust = "none")

# Linear, by restricted maximum likelihood ------------------------------------------------------
cake$temperature <- factor(cake$temperature, ordered = FALSE)
cakes <- thin(cake)[, c("recipe", "temperature", "replicate", "angle")]
write("cake", cakes)
fit <- lmerTest::lmer(angle ~ recipe * temperature + (1 | recipe:replicate), cakes, control = tight)
for (df in c("kenward-roger", "satterthwaite")) {
  keep("cake", paste0("recipe, ", df), emmeans(fit, "recipe", lmer.df = df), "recipe")
  grid <- emmeans(fit, c("recipe", "temperature"), lmer.df = df)
  keep("cake", paste0("both, ", df), grid, c("recipe", "temperature"))
  keep("cake", paste0("recipe within temperature, ", df), pairs_of(grid, "temperature"), c("temperature", "contrast"))
}
keep("cake", "recipe observed, kenward-roger", emmeans(fit, "recipe", weights = "proportional"), "recipe")

set.seed(5)
n <- 420
crossed <- data.frame(candidate = sample(60, n, TRUE), rater = pmin(1 + floor(rexp(n, 0.25)), 14),
                      criterion = sample(c("plan", "teach", "reflect"), n, TRUE, c(0.5, 0.3, 0.2)), week = round(runif(n, 1, 12), 1))
crossed$cohort <- c("early", "late", "mid")[1 + crossed$candidate %% 3]
crossed$weight <- sample(c(0.5, 1, 2, 4), n, TRUE)
crossed$score <- round(3 + 0.5 * (crossed$criterion == "teach") + 0.05 * crossed$week + 0.3 * (crossed$cohort == "late") * (crossed$criterion == "plan") +
  rnorm(60, 0, 0.6)[crossed$candidate] + rnorm(14, 0, 0.4)[crossed$rater] + rnorm(n, 0, 0.7) / sqrt(crossed$weight), 3)
write("crossed", crossed)
formula <- score ~ cohort * criterion + week + (1 | candidate) + (1 | rater)
fit <- lmerTest::lmer(formula, crossed, control = tight)
weighted <- lmerTest::lmer(formula, crossed, weights = weight, control = tight)
for (df in c("kenward-roger", "satterthwaite")) {
  grid <- emmeans(fit, c("cohort", "criterion"), lmer.df = df)
  keep("crossed", paste0("both, ", df), grid, c("cohort", "criterion"))
  keep("crossed", paste0("cohort, ", df), emmeans(fit, "cohort", lmer.df = df), "cohort")
  keep("crossed", paste0("cohort pairs, ", df), pairs_of(emmeans(fit, "cohort", lmer.df = df)), "contrast")
  keep("crossed", paste0("cohort within criterion, ", df), pairs_of(grid, "criterion"), c("criterion", "contrast"))
}
keep("crossed", "cohort observed, kenward-roger", emmeans(fit, "cohort", weights = "proportional"), "cohort")
keep("crossed", "week, kenward-roger", emmeans(fit, "week", at = list(week = c(1, 10)), weights = "proportional"), "week")
keep("crossed_weighted", "both, satterthwaite", emmeans(weighted, c("cohort", "criterion"), lmer.df = "satterthwaite"), c("cohort", "criterion"))
keep("crossed_weighted", "cohort pairs, satterthwaite", pairs_of(emmeans(weighted, "cohort", lmer.df = "satterthwaite")), "contrast")

# Ordinal, conditional on effects of zero --------------------------------------------------------
ordinal_case <- function(case, fit, specs, by = NULL, weights = "equal", modes = c("latent", "prob", "mean.class"), ...) {
  for (mode in modes) {
    cells <- c(specs, if (mode == "prob") names(fit$model)[1])
    wanted <- if (mode == "prob") c(specs, names(fit$model)[1]) else specs
    # The means of classes lose the frequencies on the way, so that they have to be given.
    given <- if (mode == "mean.class" && weights != "equal") as.vector(table(fit$model[setdiff(names(fit$model)[-1], specs)])) else weights
    found <- emmeans(fit, wanted, mode = mode, weights = given, ...)
    keep(case, paste(c(specs, mode, if (weights != "equal") weights), collapse = ", "), found, cells)
    if (!is.null(by) && mode != "prob")
      keep(case, paste(specs[1], "within", by, mode, sep = ", "), pairs_of(found, by), c(by, "contrast"))
    if (length(specs) == 1)
      keep(case, paste(specs, "pairs", mode, if (weights != "equal") weights else "equal", sep = ", "),
           pairs_of(found, if (mode == "prob") names(fit$model)[1]), c(if (mode == "prob") names(fit$model)[1], "contrast"))
  }
}
data(wine); data(soup)
wines <- wine[(17 * seq_len(nrow(wine))) %% 10 >= 3, c("rating", "temp", "contact", "judge", "bottle")]
write("wine", wines)
ordinal_case("wine", clm(rating ~ temp * contact, data = wines), c("temp", "contact"), by = "contact")
ordinal_case("wine", clm(rating ~ temp * contact, data = wines), "temp", weights = "proportional")
ordinal_case("wine_mixed", clmm(rating ~ temp + contact + (1 | judge), data = wines), c("temp", "contact"))
ordinal_case("wine_mixed", clmm(rating ~ temp + contact + (1 | judge), data = wines), "contact")
soups <- soup[soup$SURENESS %in% 1:6, c("SURENESS", "PROD", "DAY", "SOUPTYPE", "RESP")]
soups <- soups[(7 * seq_len(nrow(soups))) %% 10 >= 4, ]
write("soup", soups)
ordinal_case("soup", clm(SURENESS ~ PROD * DAY + SOUPTYPE, data = soups, link = "probit"), "SOUPTYPE", weights = "proportional")
ordinal_case("soup", clm(SURENESS ~ PROD * DAY + SOUPTYPE, data = soups, link = "probit"), c("PROD", "DAY"), by = "DAY")
ordinal_case("soup_mixed", clmm(SURENESS ~ PROD + SOUPTYPE + (1 | RESP), data = soups, link = "probit"), "SOUPTYPE")
# With cut-points of their own, "latent" averages the cut-points over all days; ours takes those of the day.
free <- clm(SURENESS ~ PROD, nominal = ~DAY, data = soups)
ordinal_case("soup_nominal", free, c("PROD", "DAY"), modes = c("prob", "mean.class"))

# Shifts of the cut-points of one day against the other, and the test that they are equal ----------
shifts <- grep("DAY2", names(coef(free)), value = TRUE)
rows[[length(rows) + 1]] <- data.frame(case = "soup_nominal", table = "shifts", cell = sub("\\.DAY2", "", shifts),
  value = -coef(free)[shifts], se = sqrt(diag(vcov(free)[shifts, shifts])), df = Inf)
across <- diff(diag(length(shifts)))
change <- across %*% coef(free)[shifts]
wald <- drop(t(change) %*% solve(across %*% vcov(free)[shifts, shifts] %*% t(across), change))
shared <- clm(SURENESS ~ PROD + DAY, data = soups)
rows[[length(rows) + 1]] <- data.frame(case = "soup_nominal", table = "equal shifts", cell = c("wald p", "likelihood ratio"),
  value = c(pchisq(wald, nrow(across), lower.tail = FALSE), 2 * (logLik(free) - logLik(shared))), se = NA, df = nrow(across))

write.csv(do.call(rbind, rows), "values.csv", row.names = FALSE)
writeLines(c(R.version.string, paste("lme4", packageVersion("lme4")), paste("lmerTest", packageVersion("lmerTest")),
             paste("pbkrtest", packageVersion("pbkrtest")), paste("ordinal", packageVersion("ordinal")),
             paste("emmeans", packageVersion("emmeans")), date()), "version.txt")
