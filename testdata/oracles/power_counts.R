# Power of the quasi-likelihood F test of counts, by simulation with R's glm; called
# by power.py. Prints [levels, n, blocked, mean, dispersion, ratio, power, trials]:
# two levels lie the ratio apart around the mean, the others at it.
set.seed(1)
draw <- function(n, mu, phi) {
  if (phi > 1) rnbinom(n, size = mu / (phi - 1), mu = mu)
  else if (phi < 1) { m <- ceiling(mu / (1 - phi)); rbinom(n, m, mu / m) }
  else rpois(n, mu)
}
power <- function(k, n, blocked, mean, phi, ratio, trials = 4000) {
  mu <- mean * c(1 / sqrt(ratio), sqrt(ratio), rep(1, k - 2))
  level <- gl(k, n); block <- factor(rep(seq_len(n), k))
  shown <- 0
  for (s in seq_len(trials)) {
    y <- unlist(lapply(mu, function(m) draw(n, m, phi)))
    if (sum(y) == 0) next
    full <- if (blocked) glm(y ~ block + level, quasipoisson) else glm(y ~ level, quasipoisson)
    part <- if (blocked) glm(y ~ block, quasipoisson) else glm(y ~ 1, quasipoisson)
    df <- df.residual(full)
    phi.hat <- sum(residuals(full, "pearson")^2) / df
    f <- (deviance(part) - deviance(full)) / (k - 1) / phi.hat
    shown <- shown + (f > qf(0.95, k - 1, df))
  }
  sprintf("[%d, %d, %d, %g, %g, %g, %.17g, %d]", k, n, blocked, mean, phi, ratio, shown / trials, trials)
}
rows <- c(
  power(4, 40, FALSE, 8, 2, 1.4), power(2, 10, FALSE, 8, 0.5, 1.4), power(3, 12, FALSE, 3, 1, 2),
  power(2, 60, FALSE, 0.5, 1.3, 2.2), power(3, 6, TRUE, 200, 20, 1.8), power(2, 5, TRUE, 60, 6, 2))
cat("[", paste(rows, collapse = ", "), "]\n")
