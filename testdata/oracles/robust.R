# Errors that hold where rows spread unlike or resemble one another within bins, and
# how far bins differ by themselves, by dense matrices in base R alone, of
# cases/lamps.csv; the latter of cases/oats.csv too, by its classical mean squares:
#   Rscript robust.R > ../tables/robust.json
here <- dirname(sub("--file=", "", grep("--file=", commandArgs(), value = TRUE)))
d <- read.csv(file.path(here, "../cases/lamps.csv"), stringsAsFactors = TRUE)
X <- model.matrix(~ bin + medium + start_g + light, d)
y <- d$mass_g
K <- solve(crossprod(X), t(X))
beta <- drop(K %*% y)
M <- diag(nrow(X)) - X %*% K
e <- drop(M %*% y)
own <- function(w, group, K, M, e, beta) { # each group of rows has a spread of its own
  c <- drop(w %*% K)
  G <- model.matrix(~ 0 + group)
  B <- t(G) %*% M^2 %*% G
  s2 <- solve(B, t(G) %*% e^2)
  nu <- drop(t(G) %*% diag(M))^2 / diag(B)
  v <- drop(s2) * drop(t(G) %*% c^2)
  list(value = sum(w * beta), se = sqrt(sum(v)), df = sum(v)^2 / sum(v^2 / nu))
}
bybins <- function(w, bin, K, M, e, beta) { # whole bins are the replicates
  c <- drop(w %*% K)
  g <- sapply(levels(bin), function(b) {
    i <- which(bin == b)
    E <- eigen(M[i, i], symmetric = TRUE)
    k <- E$values > 1e-9
    A <- E$vectors[, k, drop = FALSE] %*% diag(1 / sqrt(E$values[k]), sum(k)) %*% t(E$vectors[, k, drop = FALSE])
    drop(M[, i] %*% A %*% c[i])
  })
  u <- drop(t(g) %*% e) # since g = M a, this is aᵀ e
  P <- crossprod(g)
  list(value = sum(w * beta), se = sqrt(sum(u^2)), df = sum(diag(P))^2 / sum(P^2))
}
w <- list(light = +(colnames(X) == "light"), medium = +(colnames(X) == "mediumcoir"))
out <- lapply(w, function(w) list(own_spread = own(w, d$medium, K, M, e, beta), by_bins = bybins(w, d$bin, K, M, e, beta)))
# Counts: the same of Pearson's residuals under the working weights; slopes by levels and
# the square of light by the drop in deviance over the dispersion of the wider model;
# spread by an F test of the distances of Pearson's residuals from their medians.
g <- glm(leaves ~ bin + medium + start_g + light + offset(log(cells)), quasipoisson, d, epsilon = 1e-14)
r <- sqrt(fitted(g))
KC <- solve(crossprod(X * r), t(X * r))
MC <- diag(nrow(X)) - (X * r) %*% KC
eC <- (d$leaves - fitted(g)) / r
out$counts <- lapply(w, function(w) list(own_spread = own(w, d$medium, KC, MC, eC, coef(g)), by_bins = bybins(w, d$bin, KC, MC, eC, coef(g))))
wider <- function(f) {
  v <- update(g, f)
  phi <- sum(residuals(v, "pearson")^2) / v$df.residual
  F <- (g$deviance - v$deviance) / (g$df.residual - v$df.residual) / phi
  list(value = F, df = v$df.residual, p = pf(F, g$df.residual - v$df.residual, v$df.residual, lower.tail = FALSE))
}
z <- abs(eC - ave(eC, d$medium, FUN = median))
b <- anova(lm(z ~ d$medium))
out$wider <- list(start = wider(. ~ . + start_g:medium), light = wider(. ~ . + light:medium), bend = wider(. ~ . + I(light^2)),
  spread = list(value = b[["F value"]][1], df = b[["Df"]][2], p = b[["Pr(>F)"]][1]))
apart <- glm(leaves ~ bin + medium + start_g + light:medium + offset(log(cells)), quasipoisson, d, epsilon = 1e-14)
out$apart <- lapply(split(summary(apart)$coefficients[c("mediumbark:light", "mediumcoir:light"), 1:2], c("bark", "coir")), function(x) list(value = x[1], se = x[2]))
# adjusted bin means: levels of media weighted equally, other columns at their means
A <- cbind(1, diag(nlevels(d$bin))[, -1], matrix(c(0.5, colMeans(X[, c("start_g", "light")])), nlevels(d$bin), 3, byrow = TRUE))
means <- drop(A %*% beta)
bins <- unique(d[c("bin", "lamp", "lid")])
bins <- bins[order(bins$bin), ]
W <- model.matrix(~ lamp + lid, bins)
R <- diag(nrow(W)) - W %*% solve(crossprod(W), t(W))
spread <- function(MS, df1, c, s2, df2) {
  f <- qf(c(0.975, 0.025), df1, df2)
  list(sd = sqrt(max(0, MS - c * s2)), df = df1, low = sqrt(max(0, df1 * (MS - c * s2 * f[1])) / qchisq(0.975, df1)), high = sqrt(df1 * (MS - c * s2 * f[2]) / qchisq(0.025, df1)))
}
df1 <- sum(diag(R))
s2 <- sum(e^2) / (nrow(X) - ncol(X))
out$bins <- spread(sum(means * (R %*% means)) / df1, df1, sum(diag(R %*% A %*% solve(crossprod(X)) %*% t(A))) / df1, s2, nrow(X) - ncol(X))
out$plants <- list(sd = sqrt(s2), df = nrow(X) - ncol(X), low = sqrt(sum(e^2) / qchisq(0.975, nrow(X) - ncol(X))), high = sqrt(sum(e^2) / qchisq(0.025, nrow(X) - ncol(X))))
o <- read.csv(file.path(here, "../cases/oats.csv"), stringsAsFactors = TRUE)
o$N <- factor(o$N)
a <- summary(aov(Y ~ N + V + Error(B / V), o))
whole <- a[[2]][[1]]["Residuals", ]
within <- a[[3]][[1]]["Residuals", ]
out$oats <- spread(whole[["Mean Sq"]] / 4, whole[["Df"]], 1 / 4, within[["Mean Sq"]], within[["Df"]])
json <- function(x) if (is.list(x)) paste0("{", paste0('"', names(x), '": ', vapply(x, json, ""), collapse = ", "), "}") else sprintf("%.12g", x)
cat(json(out), "\n")
