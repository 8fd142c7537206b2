# Independent results of one made-up trial, for correlate/model's test against R.
#   Rscript least_squares.R FILE.csv
# FILE: y, bin, A, B, start_g, light. Prints "name value" a line.
d <- read.csv(commandArgs(TRUE)[1], colClasses = c(bin = "factor", A = "factor", B = "factor"))
out <- function(name, v) cat(sprintf("%s %.17g\n", name, v), sep = "")
full <- lm(y ~ bin + A * B + start_g + light, d)
rss <- function(m) sum(resid(m)^2)
ms <- rss(full) / df.residual(full)
# Partial tests: the effect joins all that do not contain it.
drop <- function(name, without, with) {
  k <- df.residual(without) - df.residual(with)
  f <- (rss(without) - rss(with)) / k / ms
  out(paste0("F_", name), f)
  out(paste0("p_", name), pf(f, k, df.residual(full), lower.tail = FALSE))
}
drop("bin", update(full, . ~ . - bin), full)
main <- y ~ bin + A + B + start_g + light
drop("A", lm(update(main, . ~ . - A), d), lm(main, d))
drop("B", lm(update(main, . ~ . - B), d), lm(main, d))
drop("AxB", lm(main, d), full)
drop("start_g", update(full, . ~ . - start_g), full)
drop("light", update(full, . ~ . - light), full)
# Adjusted means: predictions over all bins and levels, covariates at their mean.
grid <- expand.grid(bin = levels(d$bin), A = levels(d$A), B = levels(d$B))
grid$start_g <- mean(d$start_g)
grid$light <- mean(d$light)
X <- model.matrix(delete.response(terms(full)), grid)
V <- vcov(full)
means <- function(cell) t(sapply(split(seq_len(nrow(grid)), cell, drop = TRUE), function(i) colMeans(X[i, , drop = FALSE])))
L <- means(grid$A)
for (l in rownames(L)) {
  out(paste0("mean_A_", l), sum(L[l, ] * coef(full)))
  out(paste0("se_A_", l), sqrt(L[l, ] %*% V %*% L[l, ])[1])
}
pairs <- function(L, tag) for (i in seq_len(nrow(L))[-1]) for (j in seq_len(i - 1)) {
  w <- L[i, ] - L[j, ]
  e <- sum(w * coef(full))
  s <- sqrt(w %*% V %*% w)[1]
  name <- paste0("_", tag, "_", i - 1, "_", j - 1)
  out(paste0("difference", name), e)
  out(paste0("se", name), s)
  out(paste0("p", name), ptukey(sqrt(2) * abs(e) / s, nrow(L), df.residual(full), lower.tail = FALSE))
}
pairs(L, "A")
pairs(means(interaction(grid$B, grid$A)), "AxB") # A slowest
# Robust standard errors (HC3), leverage, studentised residuals.
Q <- model.matrix(full)
bread <- solve(crossprod(Q))
h3 <- sqrt(diag(bread %*% crossprod(Q * (resid(full) / (1 - hatvalues(full)))) %*% bread))
out("hc3_light", h3[["light"]])
out("hc3_intercept", h3[["(Intercept)"]])
out("rstudent_7", rstudent(full)[[7]])
out("hat_7", hatvalues(full)[[7]])
out("vif_light", 1 / (1 - summary(lm(light ~ bin + A * B + start_g, d))$r.squared))
# Spread of residuals by cell, equal slopes.
cell <- interaction(d$A, d$B)
z <- abs(resid(full) - ave(resid(full), cell, FUN = median))
a <- anova(lm(z ~ cell))
out("spread", a[1, 4])
out("p_spread", a[1, 5])
s <- anova(full, update(full, . ~ . + light:A))
out("slopes_light_A", s[2, 5])
out("p_slopes_light_A", s[2, 6])
