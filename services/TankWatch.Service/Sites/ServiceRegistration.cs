using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Mail;
using TankWatch.Service.Own;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>Everything between the broker and the mail server.</summary>
public static class ServiceRegistration
{
    /// <param name="services">Needs a <see cref="TimeProvider"/>, logging and metrics besides.</param>
    /// <param name="settings">Where the store is, which broker, how mail leaves, who operates it.</param>
    /// <param name="openBroker">The embedded broker lets anybody in, for <c>demo</c>.</param>
    public static IServiceCollection AddTankWatch(this IServiceCollection services, Settings settings, bool openBroker)
    {
        var (data, mail) = (settings.Data, settings.Mail);
        services.AddSingleton(data).AddSingleton(settings.Mqtt).AddSingleton(mail).AddSingleton(settings.Operator);
        services.AddSingleton<Database>().AddSingleton<LedgerStore>().AddSingleton<SeriesStore>();
        services.AddSingleton<SiteInbox>().AddSingleton<SiteDirectory>().AddSingleton<ServiceMetrics>()
            .AddSingleton<MessageTraces>();
        services.AddSingleton(_ => new ReadyState(watchesItself: !openBroker));
        services.AddSingleton<MailComposer>().AddSingleton<OutboxBell>().AddSingleton<AlertBell>();
        services.AddSingleton<IMailTransport>(provider => new OwnTransport(
            mail.SmtpHost is null ? new PickupTransport(mail, data) : new SmtpTransport(mail), provider.GetRequiredService<LedgerStore>(), provider.GetRequiredService<SelfWatch>));
        services.AddSingleton(settings.Watch).AddSingleton<Heartbeat>().AddSingleton<IOwnUnit, OwnUnit>().AddSingleton<SelfWatch>();

        // Stopped in the opposite order: first nothing more comes in, last what came in is finished.
        services.AddSingleton(provider => new ClockWatch(
            provider.GetRequiredService<Database>(), provider.GetRequiredService<TimeProvider>(), openBroker ? null : ClockWatch.BootName())); // The demonstration's clock is set as it likes.
        services.AddSingleton<SiteKeeper>().AddHostedService(provider => provider.GetRequiredService<SiteKeeper>());
        services.AddHostedService<OutboxSender>().AddHostedService<DigestClerk>();
        if (settings.Mqtt.Mode == MqttMode.External)
        {
            services.AddHostedService<ExternalBroker>();
        }
        else
        {
            services.AddSingleton(new BrokerAccess(openBroker)).AddHostedService<EmbeddedBroker>();
        }

        if (!openBroker)
        {
            services.AddHostedService(provider => provider.GetRequiredService<SelfWatch>()); // Beside simulated units it would prove little, and their clock may race.
        }

        return services;
    }
}
