using TankWatch.Service.Configuration;
using TankWatch.Service.Demo;

namespace TankWatch.Service.Operation;

/// <summary>What <c>serve</c> and <c>demo</c> do not have in common.</summary>
/// <param name="Settings">Checked.</param>
/// <param name="Source">For the framework's own sections.</param>
/// <param name="Demo">No login, no unit credentials, answers only to names of this machine, and shows its mails.</param>
/// <param name="Clock">The demonstration's time; null for the wall's.</param>
public sealed record ServiceShape(Settings Settings, IConfiguration Source, bool Demo, DemoClock? Clock = null)
{
    public TimeProvider Time => Clock ?? TimeProvider.System;

    public string MailFolder => Settings.Mail.PickupFolder ?? Path.Combine(Settings.Data.Path, "mail");
}
