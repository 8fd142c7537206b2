# Made infert.csv and conditional.json: base R alone (4.2.2). Every likelihood here is
# added up over all subsets that combn lists; nothing is found by recursion.
out <- commandArgs(TRUE)[1]
d <- datasets::infert
write.csv(d[c("stratum", "pooled.stratum", "case", "spontaneous", "induced", "age", "parity")],
          file.path(out, "infert.csv"), row.names = FALSE, quote = FALSE)

# All subsets of each set as large as its number of cases, as sums of x: made once.
listed <- function(x, y, set_of) {
  sets <- lapply(split(seq_along(y), set_of), function(s) {
    k <- sum(y[s]); own <- x[s, , drop = FALSE]
    if (k == 0 || k == length(s)) return(NULL)
    list(did = colSums(own[y[s] == 1, , drop = FALSE]),
         sums = matrix(combn(length(s), k, function(i) colSums(own[i, , drop = FALSE])), nrow = ncol(x)))
  })
  Filter(Negate(is.null), sets)
}
# l with or without the penalty, and the information.
total <- function(sets, beta, penalty) {
  l <- 0; i <- 0
  for (s in sets) {
    eta <- drop(crossprod(s$sums, beta)); most <- max(eta)
    w <- exp(eta - most); sum_w <- sum(w); w <- w / sum_w
    m <- drop(s$sums %*% w)
    l <- l + sum(s$did * beta) - most - log(sum_w)
    i <- i + s$sums %*% (w * t(s$sums)) - m %o% m
  }
  list(l = l + penalty * as.numeric(determinant(i)$modulus) / 2, i = i)
}
top <- function(f, start) {
  o <- list(par = start)
  for (k in 1:3) o <- optim(o$par, function(b) -f(b), method = "BFGS",
                            control = list(reltol = 1e-15, maxit = 500, ndeps = rep(1e-4, length(start))))
  # A step of Newton by differences of fourth order settles the last digits.
  h <- 1e-2
  for (k in 1:3) {
    p <- length(o$par); g <- numeric(p); H <- matrix(0, p, p)
    e <- function(i) replace(numeric(p), i, h)
    for (i in 1:p) g[i] <- (8 * (f(o$par + e(i)) - f(o$par - e(i))) - (f(o$par + 2 * e(i)) - f(o$par - 2 * e(i)))) / (12 * h)
    for (i in 1:p) for (j in 1:p) H[i, j] <- (f(o$par + e(i) + e(j)) - f(o$par + e(i) - e(j)) - f(o$par - e(i) + e(j)) + f(o$par - e(i) - e(j))) / (4 * h * h)
    o$par <- o$par - solve(H, g)
  }
  list(par = o$par, l = f(o$par))
}
fit <- function(names, set_of) {
  p <- length(names); sets <- listed(as.matrix(d[names]), d$case, set_of)
  f <- function(b, penalty = 1) total(sets, b, penalty)$l
  plain <- top(function(b) f(b, 0), numeric(p))
  firth <- top(f, numeric(p))
  se <- function(b) sqrt(diag(solve(total(sets, b, 0)$i)))
  profile <- lapply(1:p, function(j) {
    at <- function(c) {
      if (p == 1) return(f(c))
      top(function(b) f(append(b, c, j - 1)), firth$par[-j])$l
    }
    gap <- function(c) 2 * (firth$l - at(c)) - qchisq(0.95, 1)
    s <- se(firth$par)[j]
    c(2 * (firth$l - at(0)),
      uniroot(gap, firth$par[j] - c(4, 0.5) * s, tol = 1e-10)$root,
      uniroot(gap, firth$par[j] + c(0.5, 4) * s, tol = 1e-10)$root)
  })
  num <- function(v) sprintf("%.12g", v)
  list_of <- function(v) paste0("[", paste(num(v), collapse = ", "), "]")
  paste0('{"columns": ["', paste(names, collapse = '", "'), '"],\n',
         '  "plain": {"estimate": ', list_of(plain$par), ', "se": ', list_of(se(plain$par)), ', "log_likelihood": ', num(plain$l), '},\n',
         '  "penalised": {"estimate": ', list_of(firth$par), ', "se": ', list_of(se(firth$par)), ', "log_likelihood": ', num(firth$l),
         ', "chi2": ', list_of(sapply(profile, `[`, 1)), ',\n    "ci95": [', paste(sapply(profile, function(v) list_of(v[2:3])), collapse = ", "), ']}}')
}
# p over all deals of the answers within sets.
deals <- function(x, y, set_of) {
  sums <- 0
  for (s in split(seq_along(y), set_of)) {
    k <- sum(y[s])
    own <- if (k == 0) 0 else if (length(s) == 1) x[s] else combn(length(s), k, function(i) sum(x[s][i]))
    sums <- as.vector(outer(sums, own, "+"))
  }
  centre <- mean(sums)
  c(length(sums), mean(abs(sums - centre) >= abs(sum(x[y == 1]) - centre) - 1e-9))
}
first <- d$stratum > 20 & d$stratum <= 30
matched <- deals(d$spontaneous[first], d$case[first], d$stratum[first])
x <- c(3.1, 4.7, 5.2, 6.9, 8.4, 2.2, 3.9, 4.1, 5.5, 7.3, 9.6, 1.8, 2.5, 6.6, 7.0, 8.1)
y <- c(0, 0, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 0, 0, 0, 1)
bin <- rep(1:3, c(5, 6, 5))
made <- deals(x, y, bin)
json <- paste0('{\n "source": "infert of R\'s datasets: Trichopoulos et al. (1976) Br. J. of Obst. and Gynaec. 83:645-650",\n "software": "R 4.2.2, conditional.R",\n',
  ' "stratum": ', fit(c("spontaneous", "induced"), d$stratum), ',\n',
  ' "pooled": ', fit(c("spontaneous", "induced"), d$pooled.stratum), ',\n',
  ' "single": ', fit("spontaneous", d$pooled.stratum), ',\n',
  ' "deals": [\n  {"rows": ', sum(first), ', "deals": ', matched[1], ', "p": ', sprintf("%.15g", matched[2]), '},\n',
  '  {"x": [', paste(x, collapse = ", "), '], "y": [', paste(y, collapse = ", "), '], "bin": [', paste(bin, collapse = ", "), '], "deals": ', made[1], ', "p": ', sprintf("%.15g", made[2]), '}\n ]\n}\n')
cat(json, file = file.path(out, "conditional.json"))
