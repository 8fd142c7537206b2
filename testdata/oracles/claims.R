# Expected values of what a harvest analysis concludes, by base R alone:
#   Rscript claims.R data > ../cases/lamps.csv      a made-up trial
#   Rscript claims.R eventless > ../cases/eventless.csv      another, with empty levels
#   Rscript claims.R > ../tables/claims.json
# The studentized range is integrated here (over ln s and z, by trapezoids), since
# ptukey is exact to 1e-5 only on few degrees of freedom.
a <- commandArgs(TRUE)
if (length(a) && a[1] == "data") {
  set.seed(41)
  d <- expand.grid(plant = 1:7, bin = sprintf("b%02d", 1:12))
  k <- as.integer(d$bin)
  d$lamp <- c("low", "mid", "top")[(k - 1) %% 3 + 1]
  d$lid <- c("off", "on")[((k - 1) %/% 3) %% 2 + 1]
  d$medium <- sample(c("bark", "coir"), nrow(d), TRUE)
  d$light <- round(4 + 2 * ((k - 1) %% 3) + rnorm(nrow(d)) + rnorm(12)[k] / 2, 3)
  d$start_g <- round(exp(rnorm(nrow(d), 1, 0.2)), 3)
  d$mass_g <- round(5 + d$light / 2 + d$start_g + rnorm(12)[k] / 2 + rnorm(nrow(d)), 3)
  d$leaves <- rpois(nrow(d), exp(0.5 + 0.12 * d$light + rnorm(12)[k] / 5))
  d$cells <- round(runif(nrow(d), 1, 3), 2)
  d <- d[-c(3, 20, 41, 66), ]
  d$plant <- NULL
  write.csv(d, row.names = FALSE, quote = FALSE)
  quit()
}
if (length(a) && a[1] == "eventless") {
  set.seed(43)
  d <- expand.grid(plant = 1:8, bin = sprintf("b%02d", 1:8))
  k <- as.integer(d$bin)
  d$shelf <- ifelse(k <= 4, "left", "right")
  d$cover <- c("film", "glass", "none", "film")[(k - 1) %% 4 + 1] # film on two bins of a shelf
  d$hormone <- c(replicate(8, sample(rep(c("gel", "none", "paste", "powder"), 2))))
  d$cells <- round(runif(nrow(d), 1, 3), 2)
  d$light <- round(rnorm(nrow(d), 5), 2)
  d$roots <- rpois(nrow(d), c(gel = 0.7, none = 0, paste = 0.3, powder = 1.2)[d$hormone] * d$cells / 2)
  d$buds <- rpois(nrow(d), c(film = 0.5, glass = 0, none = 0.9)[d$cover])
  d$plant <- NULL
  write.csv(d, row.names = FALSE, quote = FALSE)
  quit()
}
here <- dirname(sub("--file=", "", grep("--file=", commandArgs(), value = TRUE)))

zs <- seq(-8, 40, 0.02)
range_tail <- function(w) function(k) { # of the range of k, at each w
  vapply(w, function(w) sum(k * dnorm(zs) * (pnorm(zs)^(k - 1) - (pnorm(zs) - pnorm(zs - w))^(k - 1))) * 0.02, 0)
}
lw <- seq(-12, log(45), 0.02)
tails <- lapply(3:6, range_tail(exp(lw)))
q_tail <- function(q, k, df) { # s = w / q; the density of ln s is s times that of s
  s <- exp(lw) / q
  left <- pchisq(df * exp(2 * (lw[1] - 0.01)) / q^2, df) # below the grid the range is surely passed
  left + sum(2 * df * s^2 * dchisq(df * s^2, df) * tails[[k - 2]]) * 0.02
}
point <- function(p, k, df) if (k == 2) qt(1 - p / 2, df) else
  exp(uniroot(function(x) log(q_tail(exp(x), k, df)) - log(p), c(-3, 3), extendInt = "downX", tol = 1e-12)$root) / sqrt(2)
half <- function(p, A, B, k, df) sqrt(point(p, k, df[1])^2 * A + point(p, k, df[2])^2 * B)
level <- function(d, A, B, k, df)
  exp(uniroot(function(x) half(exp(x), A, B, k, df) - abs(d), c(log(1e-5), log(0.9999)), tol = 1e-12)$root)
json <- function(x) if (is.list(x)) {
  inside <- vapply(x, json, "")
  if (is.null(names(x))) paste0("[", paste(inside, collapse = ", "), "]")
  else paste0("{", paste0('"', names(x), '": ', inside, collapse = ", "), "}")
} else if (is.character(x)) paste0('"', x, '"') else
  if (length(x) == 1) sprintf("%.12g", x) else paste0("[", paste(sprintf("%.12g", x), collapse = ", "), "]")

# 1. The two-part interval of one difference.
cases <- list(c(2, 0.2, 0.1, 3, 3, 137), c(2, 0.2, 0.1, 2, 3, 137), c(0.4, 0.01, 0.05, 4, 6, 60), c(1.5, 0.3, 0.001, 2, 1, 40), c(1, 0.2, 0.2, 6, 2, 20), c(3, 0.05, 0.3, 3, 4, 200))
two <- lapply(cases, function(v) list(difference = v[1], A = v[2], B = v[3], k = v[4], df = v[5:6],
  half = half(0.05, v[2], v[3], v[4], v[5:6]), p = level(v[1], v[2], v[3], v[4], v[5:6])))

# 2. Treatments of whole bins beside a covariate and light: cases/lamps.csv.
d <- read.csv(file.path(here, "../cases/lamps.csv"), stringsAsFactors = TRUE)
bins <- unique(d[c("bin", "lamp", "lid")])
bins <- bins[order(bins$bin), ]
grid <- merge(bins, data.frame(medium = levels(d$medium)))
byBin <- function(v) tapply(v, grid$bin, mean)
quiet <- suppressWarnings
slopes <- c("start_g", "light")
# of gives the tests of the bins' design X, of the fitted coefficients beta with the
# unscaled covariance U, scatter s2 on df[1] and the slopes' z (bins by slopes), V.
of <- function(X, beta, U, s2, hat, z, V, df) {
  sides <- function(c) {
    g <- c %*% hat %*% z
    list(A = as.numeric(s2 * c %*% U %*% t(c)), B = as.numeric(g %*% V %*% t(g)))
  }
  out <- list()
  for (f in c("lamp", "lid")) {
    l <- levels(bins[[f]])
    mean_of <- lapply(l, function(v) {
      g <- expand.grid(lamp = levels(bins$lamp), lid = levels(bins$lid))
      colMeans(model.matrix(~ lamp * lid, g)[g[[f]] == v, , drop = FALSE])
    })
    for (i in seq_along(l)) for (j in seq_len(i - 1)) {
      c <- matrix(mean_of[[i]] - mean_of[[j]], 1)
      s <- sides(c)
      e <- as.numeric(c %*% beta)
      out[[length(out) + 1]] <- list(treatment = f, a = l[i], b = l[j], difference = e, A = s$A, B = s$B,
        half = half(0.05, s$A, s$B, length(l), df), p = level(e, s$A, s$B, length(l), df))
    }
  }
  L <- matrix(0, 2, 6); L[1, 5] <- L[2, 6] <- 1
  G <- L %*% hat %*% z
  C <- s2 * L %*% U %*% t(L) + G %*% V %*% t(G)
  b <- L %*% beta
  list(df = df, pairs = out, interaction = list(F = as.numeric(t(b) %*% solve(C, b)) / 2,
    p = pf(as.numeric(t(b) %*% solve(C, b)) / 2, 2, df[1], lower.tail = FALSE)))
}
X <- model.matrix(~ lamp * lid, bins)
terms <- "bin + medium + medium:lamp + medium:lid"
m <- lm(as.formula(paste("mass_g ~", terms, "+ start_g + light")), d)
grid$start_g <- mean(d$start_g); grid$light <- mean(d$light)
means <- byBin(quiet(predict(m, grid)))
z <- sapply(slopes, function(v) byBin(quiet(predict(lm(as.formula(paste(v, "~", terms)), d), grid))) - mean(d[[v]]))
b <- lm(means ~ lamp * lid, bins)
U <- solve(crossprod(X))
measure <- of(X, coef(b), U, sigma(b)^2, U %*% t(X), z, vcov(m)[slopes, slopes], c(b$df.residual, m$df.residual))

g <- glm(as.formula(paste("leaves ~", terms, "+ start_g + light + offset(log(cells))")), quasipoisson, d, epsilon = 1e-12, maxit = 200)
weight <- d$cells * exp(as.matrix(sweep(d[slopes], 2, colMeans(d[slopes]))) %*% coef(g)[slopes])
total <- tapply(d$leaves, d$bin, sum); exposure <- tapply(weight, d$bin, sum)
z <- sapply(slopes, function(v) tapply(weight * (d[[v]] - mean(d[[v]])), d$bin, sum) / exposure)
b <- glm(total ~ lamp * lid + offset(log(exposure)), quasipoisson, bins, epsilon = 1e-12, maxit = 200)
W <- diag(fitted(b)); U <- solve(t(X) %*% W %*% X)
phi <- sum(residuals(b, "pearson")^2) / b$df.residual
phi2 <- sum(residuals(g, "pearson")^2) / g$df.residual
V <- (summary(g)$cov.unscaled * phi2)[slopes, slopes]
count <- of(X, coef(b), U, phi, U %*% t(X) %*% W, z, V, c(b$df.residual, g$df.residual))

# 3. Levels without an event: cases/eventless.csv. All pairs are one family of four levels.
v <- read.csv(file.path(here, "../cases/eventless.csv"))
exact <- function(y, level, place, exposure, none, some, pairs) {
  at <- split(seq_along(y), place)
  chance <- prod(vapply(at, function(i) {
    n <- sum(level[i] == some); m <- sum(level[i] == none); K <- sum(y[i] > 0 & level[i] == some)
    dhyper(K, n, m, K)
  }, 0))
  K <- sum(y > 0 & level == some)
  list(none = none, some = some, p_single = min(1, 2 * chance), p = min(1, pairs * 2 * chance),
    limit = sum(exposure[level == some]) / sum(exposure[level == none]) * (0.05^(-1 / K) - 1))
}
rest <- subset(v, hormone != "none")
rest$hormone <- factor(rest$hormone)
g <- glm(roots ~ bin + hormone + light + offset(log(cells)), quasipoisson, rest, epsilon = 1e-12, maxit = 100)
phi <- sum(residuals(g, "pearson")^2) / g$df.residual
U <- summary(g)$cov.unscaled * phi
pairs <- list()
for (a in c("paste", "powder")) for (b in c("gel", "paste")) if (a > b) {
  c <- setNames(rep(0, length(coef(g))), names(coef(g)))
  c[paste0("hormone", a)] <- 1
  if (b != "gel") c[paste0("hormone", b)] <- -1
  e <- sum(c * coef(g)); se <- sqrt(c %*% U %*% c)[1, 1]
  pairs[[length(pairs) + 1]] <- list(a = a, b = b, log_ratio = e, se = se, p = q_tail(sqrt(2) * abs(e) / se, 4, g$df.residual))
}
bare <- glm(roots ~ bin + hormone + offset(log(cells)), quasipoisson, rest, epsilon = 1e-12, maxit = 100)
F <- (deviance(bare) - deviance(g)) / phi
b <- aggregate(cbind(buds, one = 1) ~ bin + shelf + cover, v, sum)
eventless <- list(roots = list(df = g$df.residual, dispersion = phi, pairs = pairs, light = list(F = F, p = pf(F, 1, g$df.residual, lower.tail = FALSE)),
    exact = lapply(c("gel", "paste", "powder"), function(s) exact(v$roots, v$hormone, v$bin, v$cells, "none", s, 6))),
  buds = list(exact = lapply(c("film", "none"), function(s) exact(b$buds, b$cover, b$shelf, b$one, "glass", s, 3))))

# 4. The smallest difference that is shown in four cases of five: the non-central t
# integrated over the standard deviation, df 0 standing for a known one.
shown <- function(delta, crit, df) if (df == 0) pnorm(delta - crit) else
  integrate(function(s) 2 * df * s * dchisq(df * s^2, df) * pnorm(delta - crit * s), 0, Inf, rel.tol = 1e-11, subdivisions = 1000)$value
smallest <- function(crit, df)
  uniroot(function(x) shown(x, crit, df) - 0.8, c(0, 60), tol = 1e-11)$root * if (df) 1 + 1.05 / df else 1
detectable <- list()
for (k in c(2, 3, 4, 6)) for (df in c(2, 3, 5, 12, 60))
  detectable[[length(detectable) + 1]] <- list(k = k, df = df, critical = point(0.05, k, df), detectable = smallest(point(0.05, k, df), df))
both <- lapply(list(c(0.2, 0.1, 3, 3, 137), c(0.1, 0.4, 2, 2, 30), c(0.3, 0.02, 4, 4, 50)), function(v) {
  se <- sqrt(v[1] + v[2])
  df <- se^4 / (v[1]^2 / v[4] + v[2]^2 / v[5])
  w <- point(0.05, v[3], v[4])^2 * v[1] / half(0.05, v[1], v[2], v[3], v[4:5])^2
  width <- 1 / (w^2 / v[4] + (1 - w)^2 / v[5])
  list(A = v[1], B = v[2], k = v[3], df = v[4:5], freedom = df, detectable = se * smallest(half(0.05, v[1], v[2], v[3], v[4:5]) / se, width))
})
detectable_shares <- list(pairs = 6, log_se = 0.5, detectable = 0.5 * smallest(qnorm(1 - 0.025 / 6), 0))

cat(json(list(detectable = detectable, detectable_two_part = both, detectable_shares = detectable_shares, eventless = eventless, two_part = two, lamps = list(measure = measure, count = count))), "\n", sep = "")
